"""The pages, the one process that serves them, and the command line."""
