"""Geometry and arithmetic on measured blocks; no images here."""
