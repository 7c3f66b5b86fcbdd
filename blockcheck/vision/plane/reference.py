"""What every reference hands to the adjustment: places in the photo and the mm they stand for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Reference:
    """One thing of known size: observed pixels beside its own millimetres.

    Attributes
    ----------
    name : str
        For people: "card A", "mat lines".
    kind : str
        "card", "sheet", "square" or "grid".
    points_mm : (N, 2) array
        In the reference's own frame.
    points_px : (N, 2) array
        Where they are seen.
    normals_px : (N, 2) array or None
        With it a point is known across the line only (a place on a line or an edge).
    sigma_px : float
        First guess of the noise of one coordinate; the adjustment learns it from the misfit.
    scale_sigma : float
        1 sigma of the reference's true size, relative.
    height_mm, height_sigma : float
        Of its face above the mat.
    outline_mm : (4, 2) array or None
        What it covers, margin included.
    stretch_sigma, skew_sigma : float
        1 sigma of half its difference of scale between x and y, and of its skew; 0 for a rigid
        print.
    line : (N,) int array or None
        Which printed line or edge a point lies on.
    common_px : float
        1 sigma of what all points of one line are off by together: where it was printed, or
        where blur and shade put an edge. As for `sigma_px`, the adjustment may learn more.
    """

    name: str
    kind: str
    points_mm: np.ndarray
    points_px: np.ndarray
    normals_px: np.ndarray | None
    sigma_px: float
    scale_sigma: float
    height_mm: float = 0.0
    height_sigma: float = 0.0
    outline_mm: np.ndarray | None = None
    stretch_sigma: float = 0.0
    skew_sigma: float = 0.0
    line: np.ndarray | None = None
    common_px: float = 0.0

    def called(self, *, first: bool = False) -> str:
        """Its name in a sentence, or at the beginning of one: a card has a name of its own."""
        name = self.name if self.kind == "card" else f"the {self.name}"
        return name[0].upper() + name[1:] if first else name

    def at(self, points: np.ndarray) -> np.ndarray:
        """(N, 2) own millimetres where the affine `points` (2, 3) puts them; see `affine`."""
        return self.points_mm @ points[:, :2].T + points[:, 2]


@dataclass(frozen=True)
class MatLines:
    """The mat's lines as found.

    Attributes
    ----------
    reference : Reference
        What the adjustment takes.
    segments_px : (M, 2, 2) array
        Predicted pieces of line in the photo, from crossing to crossing.
    seen : (M,) bool array
        Where the printed line was seen.
    """

    reference: Reference
    segments_px: np.ndarray
    seen: np.ndarray
