"""The one process that serves the pages."""
