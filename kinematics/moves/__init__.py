"""Moves: the tool positions of cuts, and what joins them."""
