"""The shop's truth and its arithmetic: runs with no dashboard."""
