"""How long machines were in which state, with its doubt."""
