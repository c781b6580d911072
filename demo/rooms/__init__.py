"""Families of invented rooms, each by another hand: none shares code with the reckoning it judges, or with another."""
