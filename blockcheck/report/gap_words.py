"""What could not be worked out, and what to do about it."""

from __future__ import annotations

from ..planning.quilt import Lack, QuiltPlan

_LACKING = {
    Lack.BLOCKS: "There are no measured blocks yet. Add a photo of a block first.",
    Lack.PLANNED: "The plan gives no planned size, so nothing is compared with a pattern.",
    Lack.SIZE: "This can be worked out once the blocks have a size in common.",
}


def gap(quilt: QuiltPlan, *parts: str) -> str:
    """Say why a part is missing: of the first of these that is; nothing where none is."""
    why = next((quilt.gaps[part] for part in parts if part in quilt.gaps), "")
    return _LACKING[why] if isinstance(why, Lack) else why
