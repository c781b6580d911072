"""What each machine did, laid out from its entries: facts, the gaps between them, stretches of states."""
