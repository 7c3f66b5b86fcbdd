"""Seams inside a block, and the points and centre line they suggest."""
