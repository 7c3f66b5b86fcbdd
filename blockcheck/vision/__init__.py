"""Finding references and blocks in photos: everything that reads pixels."""
