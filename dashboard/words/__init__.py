"""All that is said, on pages, on paper and in the terminal."""
