"""The shelf: what is there, what is on order, what to order."""
