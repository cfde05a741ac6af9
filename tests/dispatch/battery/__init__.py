"""The battery: bookings under many processes, crashes and faults, with a checker of histories."""
