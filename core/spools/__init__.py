"""What is left on the spools, and when they run out."""
