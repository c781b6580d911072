"""What happened: the append-only log of entries and set-up, its rules and its ways in and out."""
