"""The page at the cutting table, served by the quilter's own computer."""
