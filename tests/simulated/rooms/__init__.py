"""Families of invented rooms, each by another hand; none shares code with the reckoning that it judges, nor with another."""
