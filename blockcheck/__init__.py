"""Measure sewn quilt blocks from phone photos before anything is cut.

``measure_photo(path, **settings)``, ``measure_together(paths, **settings)`` and
``find_plane(path, **settings)`` are the way in; they are loaded on first use, so that reading a
length does not load OpenCV.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"
__all__ = ["find_plane", "measure_photo", "measure_together"]


def __getattr__(name: str) -> Any:
    if name == "measure_together":
        from .measuring import together

        return together.measure_together
    if name in __all__:
        from .measuring import measure

        return getattr(measure, name)
    raise AttributeError(f"module 'blockcheck' has no attribute {name!r}")
