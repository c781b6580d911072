"""Formulas with a printed source and no word of the shop in them."""
