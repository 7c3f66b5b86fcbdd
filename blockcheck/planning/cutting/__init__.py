"""What to cut for the rest of the quilt."""
