"""Upkeep and repairs: what is due, what fails how often, a machine's record."""
