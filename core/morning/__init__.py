"""The owner's page."""
