"""One read of the log for a window, and what it comes to."""
