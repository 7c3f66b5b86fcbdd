"""The references in a photo, as places in pixels beside their own millimetres."""
