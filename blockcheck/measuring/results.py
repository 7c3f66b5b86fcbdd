"""What measuring gives: a block's sizes, a photo's blocks, and the JSON of both."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..errors import Doubtful, Problem
from ..uncertainty import Estimate, Term, combine, conformance_probability

if TYPE_CHECKING:
    from ..vision.plane.plane import Plane

SCHEMA = "blockcheck/measurement-1"


@dataclass(frozen=True)
class Measurement:
    """One block. Sides run top, right, bottom, left; corners clockwise from the top left.

    Attributes
    ----------
    corners_px, corners_mm : (4, 2) arrays
        In the photo and on the mat's plane.
    width_mm, height_mm : Estimate
        Between the midpoints of opposite sides.
    sides_mm, angles_deg, bow_mm : tuple of four Estimate
    diagonals_mm : tuple of two Estimate
        Corner 0 to 2, corner 1 to 3.
    outline_mm : (N, 2) array
        The raw edges on the mat's plane, smooth, clockwise from corner 0.
    corners_cov_mm2 : (8, 8) array
        Covariance of the corners' x and y in turn.
    by_hand : bool
        Whether a side was set by hand.
    """

    corners_px: np.ndarray
    corners_mm: np.ndarray
    width_mm: Estimate
    height_mm: Estimate
    sides_mm: tuple[Estimate, ...]
    diagonals_mm: tuple[Estimate, ...]
    angles_deg: tuple[Estimate, ...]
    bow_mm: tuple[Estimate, ...]
    outline_mm: np.ndarray
    corners_cov_mm2: np.ndarray
    by_hand: bool = False

    @property
    def outline_block_mm(self) -> np.ndarray:
        """(N, 2) outline in block coordinates: from corner 0, x along the top side, y down."""
        return self._in_block(self.outline_mm)

    @property
    def corners_block_mm(self) -> np.ndarray:
        """(4, 2) corners in block coordinates."""
        return self._in_block(self.corners_mm)

    def _in_block(self, points_mm: np.ndarray) -> np.ndarray:
        side = self.corners_mm[1] - self.corners_mm[0]
        c, s = side / np.linalg.norm(side)
        return np.asarray((points_mm - self.corners_mm[0]) @ np.array([[c, -s], [s, c]]))

    @property
    def guard_mm(self) -> float:
        """What to keep between a trim line and the measured edge: half the sizes' larger U95."""
        return max(self.width_mm.u95, self.height_mm.u95) / 2

    @property
    def out_of_square_mm(self) -> Estimate:
        """Difference of the diagonals, the trade's measure of squareness."""
        a, b = self.diagonals_mm
        # what scales both diagonals alike cancels; the edges' part does not
        terms = [
            Term(t.name, t.u)
            for e in (a, b)
            for t in e.budget
            if t.name in ("edge fit", "waviness")
        ]
        return Estimate(a.value - b.value, combine(terms))

    def against(self, planned: tuple[float, float], tolerance_mm: float) -> tuple[str, str]:
        """Whether width and height are within `tolerance_mm` of the planned size.

        Returns
        -------
        tuple of str
            "yes" or "no" for each, by simple acceptance (JCGM 106, 8.2), as sizes of a project
            are judged; `doubts` says how sure that is.
        """
        pairs = zip((self.width_mm, self.height_mm), planned, strict=True)
        w, h = ("yes" if abs(e.value - p) <= tolerance_mm else "no" for e, p in pairs)
        return w, h

    def doubts(self, planned: tuple[float, float], tolerance_mm: float) -> tuple[float, float]:
        """Probability that each answer of `against` is wrong (JCGM 106, 7.4)."""
        w, h = (
            chance if abs(e.value - p) > tolerance_mm else 1 - chance
            for e, p in zip((self.width_mm, self.height_mm), planned, strict=True)
            for chance in [
                conformance_probability(e.value, e.u, p - tolerance_mm, p + tolerance_mm)
            ]
        )
        return w, h


@dataclass(frozen=True)
class Taken:
    """One of several photos that were measured together.

    Attributes
    ----------
    path : Path
    sha256 : str or None
    used : bool
        Whether the sizes come from it too: not if it could not be measured, or contradicts.
    width_mm, height_mm : Estimate or None
        What it says by itself, turned as the first photo shows the block.
    """

    path: Path
    sha256: str | None
    used: bool
    width_mm: Estimate | None = None
    height_mm: Estimate | None = None


@dataclass(frozen=True)
class PhotoResult:
    """What one photo gave, or several of one block together.

    Attributes
    ----------
    path : Path
    sha256 : str or None
    blocks : tuple of Measurement
    problems : tuple of Problem
    plane : Plane or None
    camera : str or None
        Maker and model, as EXIF gives them.
    doubtful : Doubtful or None
        The outline that was not believed, where that is why there is no block.
    together : tuple of Taken
        All photos, where several were measured together: the rest is then about the first of
        them that was used, but the sizes and their uncertainties, which come from all.
    """

    path: Path
    sha256: str | None
    blocks: tuple[Measurement, ...]
    problems: tuple[Problem, ...]
    plane: Plane | None
    camera: str | None = None
    doubtful: Doubtful | None = None
    together: tuple[Taken, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether the photo was measured."""
        return bool(self.blocks) and all(p.level != "error" for p in self.problems)

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object of schema blockcheck/measurement-1."""
        reference = None
        if self.plane is not None:
            at = self.blocks[0].corners_mm.mean(0) if self.blocks else np.zeros(2)
            reference = {
                "kinds": sorted({p.reference.kind for p in self.plane.references}),
                "px_per_mm": round(self.plane.px_per_mm(at), 4),
                "tilt_deg": round(self.plane.camera.tilt_deg, 3),
                "fit_rms_px": round(self.plane.fit_rms_px, 4),
            }
        said: dict[str, object] = {
            "schema": SCHEMA,
            "photo": str(self.path),
            "sha256": self.sha256,
            "ok": self.ok,
            "problems": [vars(p) for p in self.problems],
            "reference": reference,
            "blocks": [_block_dict(b) for b in self.blocks],
        }
        if self.together:
            said["together"] = [_taken_dict(t) for t in self.together]
        return said


def _taken_dict(t: Taken) -> dict[str, object]:
    return {
        "photo": str(t.path),
        "sha256": t.sha256,
        "used": t.used,
        "width_mm": t.width_mm and _one(t.width_mm),
        "height_mm": t.height_mm and _one(t.height_mm),
    }


def _one(e: Estimate) -> dict[str, float]:
    return {"value": round(e.value, 4), "u95": round(e.u95, 4)}


def _block_dict(b: Measurement) -> dict[str, object]:
    return {
        "corners_px": np.round(b.corners_px, 3).tolist(),
        "corners_mm": np.round(b.corners_mm, 4).tolist(),
        "width_mm": _one(b.width_mm),
        "height_mm": _one(b.height_mm),
        "sides_mm": [_one(e) for e in b.sides_mm],
        "diagonals_mm": [_one(e) for e in b.diagonals_mm],
        "angles_deg": [_one(e) for e in b.angles_deg],
        "bow_mm": [_one(e) for e in b.bow_mm],
    }
