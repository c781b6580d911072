"""What keeps a shop's file from harm."""
