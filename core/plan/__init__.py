"""The shop played forward: what is due, what can be promised, what to load, what the room gives."""
