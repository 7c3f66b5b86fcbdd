"""Connected parts of a mask of the small picture."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class Parts:
    """Connected parts of a mask, the ground between them first."""

    label: np.ndarray
    stats: np.ndarray

    @classmethod
    def of(cls, mask: np.ndarray) -> Parts:
        _, label, stats, _ = cv2.connectedComponentsWithStats(mask, ltype=cv2.CV_16U)
        return cls(label, stats)

    @property
    def on_frame(self) -> np.ndarray:
        """Which reach the photo's frame."""
        x, y, w, h = self.stats[:, :4].T
        rows, columns = self.label.shape
        return np.asarray((x < 2) | (y < 2) | (x + w > columns - 2) | (y + h > rows - 2))

    def touched(self, mask: np.ndarray) -> np.ndarray:
        """Which share a place with `mask`."""
        found = np.zeros(len(self.stats), bool)
        found[self.label[mask > 0]] = True
        return found

    def mean_of(self, values: np.ndarray) -> np.ndarray:
        """Mean of the values on each part."""
        sums = np.bincount(self.label.ravel(), values.ravel(), len(self.stats))
        return np.asarray(sums / self.stats[:, 4])

    def only(self, wanted: np.ndarray) -> np.ndarray:
        """Mask of the parts that are wanted."""
        wanted = wanted.copy()
        wanted[0] = False
        return np.take(wanted.astype(np.uint8), self.label)
