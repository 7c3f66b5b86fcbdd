"""The photo at about an eighth of its scale, and the mat's colour learnt from it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np

from ..photo import coarse
from .mat_looks import Mat

COARSE_PX = 504  # long side of the small picture: an eighth of 12 megapixels
CLOTH_MM = 0.5
_EVEN = 12.0  # grey levels: what varies more is no mat
_COARSE_SHADE = (0.75, 1.12)


class PlaneLike(Protocol):
    """What of a plane is needed here."""

    def mm_from_px(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) millimetres of (N, 2) pixels."""

    def px_from_mm(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) pixels of (N, 2) millimetres."""


@dataclass(frozen=True)
class Small:
    """The photo at about an eighth of its scale, with what is known of it."""

    size: tuple[int, int]
    scale: int
    rgb: np.ndarray
    cards: np.ndarray
    barred: np.ndarray
    segments: np.ndarray | None
    seen: np.ndarray | None

    @classmethod
    def of(
        cls,
        rgb: np.ndarray,
        exclude_px: Sequence[np.ndarray],
        segments: np.ndarray | None,
        seen: np.ndarray | None,
    ) -> Small:
        h, w = rgb.shape[:2]
        scale = max(1, round(max(h, w) / COARSE_PX))
        small = cv2.medianBlur(coarse(rgb, scale), 5)  # takes away printed lines
        cards = np.zeros(small.shape[:2], np.uint8)
        for polygon in exclude_px:
            cv2.fillPoly(
                cards,
                [np.round((np.asarray(polygon, float) + 0.5) / scale - 0.5).astype(np.int32)],
                1,
            )
        bare = cards
        cards = cv2.dilate(cards, np.ones((5, 5), np.uint8))
        if segments is None or seen is None or np.sum(seen) < 12:
            segments = seen = None
        return cls((w, h), scale, small, cards, bare, segments, seen)

    def to_small(self, points_px: np.ndarray) -> np.ndarray:
        """Small pixels of the photo's."""
        return (np.asarray(points_px, float) + 0.5) / self.scale - 0.5

    def to_photo(self, points: np.ndarray) -> np.ndarray:
        """The photo's pixels of small ones."""
        return (np.asarray(points, float) + 0.5) * self.scale - 0.5

    def _inside(self, points_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        i = np.round(self.to_small(points_px)).astype(int)
        h, w = self.cards.shape
        ok = (i >= 0).all(axis=1) & (i[:, 0] < w) & (i[:, 1] < h)
        ok[ok] &= self.cards[i[ok, 1], i[ok, 0]] == 0
        return points_px[ok], i[ok]

    def _learn(self, points_px: np.ndarray) -> Mat:
        places, i = self._inside(points_px)
        return Mat.learn(self.size, places, self.rgb[i[:, 1], i[:, 0]])

    def mats(self) -> Iterator[Mat]:
        """What may be the mat, likeliest first."""
        if self.segments is not None and self.seen is not None:
            a, b = self.segments[self.seen, 0], self.segments[self.seen, 1]
            middle, side = (a + b) / 2, (b - a) @ np.array([[0, 1], [-1, 0]])
            yield self._learn(np.vstack([middle + 0.25 * side, middle - 0.25 * side]))
            return
        ring = cv2.dilate(self.cards, np.ones((15, 15), np.uint8)) - self.cards
        if ring.sum() < 100:  # no card: what lies along the frame
            ring = np.ones_like(self.cards)
            ring[10:-10, 10:-10] = 0
        y, x = np.nonzero(ring)
        colours = self.rgb[y, x].astype(np.float32)
        k = min(3, len(colours))
        _, label, _ = cv2.kmeans(
            colours, k, None, (cv2.TERM_CRITERIA_COUNT, 15, 0), 1, cv2.KMEANS_PP_CENTERS
        )
        # two shades of one mat are one kind of ground
        shares = np.bincount(label.ravel(), minlength=k) / len(colours)
        for j in np.argsort(-shares):
            if shares[j] < 0.12:
                continue
            own = label.ravel() == j
            mat = self._grow(
                Mat.learn(self.size, self.to_photo(np.stack([x, y], 1)[own]), colours[own])
            )
            if mat.sigma < _EVEN:
                yield mat

    def _grow(self, mat: Mat) -> Mat:
        """Learn the mat again from all of the photo that looks like it."""
        y, x = np.mgrid[0 : self.cards.shape[0] : 6, 0 : self.cards.shape[1] : 6]
        y, x = y.ravel(), x.ravel()
        places, colours = self.to_photo(np.stack([x, y], 1)), self.rgb[y, x].astype(float)
        free = self.cards[y, x] == 0
        for _ in range(3):
            like = free & (mat.unlike(colours, mat.colours(places), (0.8, 1.2)) < 3 * mat.sigma + 5)
            if like.sum() > 50:
                mat = Mat.learn(self.size, places[like], colours[like])
        return mat

    def mat_around(self, plane: PlaneLike, corners_mm: np.ndarray) -> Mat:
        """Learn the mat just outside a quadrilateral."""
        middle = corners_mm.mean(0)
        rim = np.vstack([np.linspace(corners_mm[i], corners_mm[(i + 1) % 4], 80) for i in range(4)])
        out = (rim - middle) / np.linalg.norm(rim - middle, axis=1)[:, None]
        places = np.vstack([plane.px_from_mm(rim + d * out) for d in (6.0, 9.0, 12.0)])
        return self._learn(places)

    def unlike(self, mat: Mat) -> np.ndarray:
        """(h, w) distance from the mat's colour."""
        h, w = self.cards.shape
        expected = mat.everywhere(self.to_photo(np.arange(w)), self.to_photo(np.arange(h)))
        return mat.unlike(self.rgb.astype(np.float32), expected, _COARSE_SHADE)

    def hidden(self) -> tuple[np.ndarray, int]:
        """(h, w) mask of where several neighbouring lines are not seen, and the cells' size."""
        mask = np.zeros(self.cards.shape, np.uint8)
        if self.segments is None or self.seen is None:
            return mask, 0
        ends = np.round(self.to_small(self.segments)).astype(np.int32)
        cell = int(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
        for which, thick, value in ((~self.seen, 1.0, 1), (self.seen, 0.6, 0)):
            cv2.polylines(mask, list(ends[which]), False, value, max(1, round(thick * cell)))
        size = max(3, round(0.7 * cell))
        return cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((size, size), np.uint8)), cell

    def lines_seen_around(self, part: np.ndarray, cell: int) -> bool:
        """Whether the mat's lines show all around a part, so that it is cloth that hides them."""
        if self.segments is None or self.seen is None:
            return False
        wide, narrow = (
            cv2.dilate(part, np.ones((2 * n + 1, 2 * n + 1), np.uint8)) for n in (2 * cell, cell)
        )
        middle = np.round(self.to_small(self.segments.mean(1))).astype(int)
        h, w = part.shape
        inside = (middle >= 0).all(1) & (middle[:, 0] < w) & (middle[:, 1] < h)
        ring = (wide > narrow) & (self.cards == 0)
        around = np.zeros(len(middle), bool)
        around[inside] = ring[middle[inside, 1], middle[inside, 0]]
        return bool(around.sum() >= 12 and self.seen[around].mean() > 0.85)
