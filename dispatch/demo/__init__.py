"""An invented contractor: plain data of two offices, and the building of it. Entered by a command."""
