"""Is it getting better? The weekly review, periods compared, actions agreed."""
