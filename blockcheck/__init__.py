"""Measure sewn quilt blocks from phone photos before anything is cut."""

__version__ = "0.1.0"
