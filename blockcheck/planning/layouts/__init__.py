"""The whole quilt laid out: every piece a polygon, every seam known."""
