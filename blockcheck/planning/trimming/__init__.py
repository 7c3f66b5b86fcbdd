"""Which size the set reaches, and where to trim each block."""
