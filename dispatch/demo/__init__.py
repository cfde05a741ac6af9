"""An invented contractor: two offices as plain data, and how they are built. For a command."""
