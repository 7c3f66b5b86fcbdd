"""Which rows meet, and the order in which they meet best."""
