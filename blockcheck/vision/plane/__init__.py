"""Lens and pose: one adjustment of all references gives pixels to millimetres with covariance."""
