"""All that is drawn."""
