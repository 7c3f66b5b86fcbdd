"""A photo to sizes: the way through, results and their JSON, checks against known sizes."""
