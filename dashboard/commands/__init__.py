"""What the command line does, in the process that owns the shop's file."""
