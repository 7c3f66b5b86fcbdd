"""The photo at about an eighth of its scale, and the mat's colour learnt from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import cv2
import numpy as np

from ..photo import shrunk
from .mat_looks import Mat

CLOTH_MM = 0.5
_COARSE_SHADE = (0.75, 1.12)
_ANY_SHADE = (0.2, 2.0)
_PRINT = 9  # small pixels: more than a fine print repeats in
_ALIKE = 0.08
_MOST_SEEN = 0.7  # of the lines near a place: there the mat lies bare
_FEW = 0.25  # of those seen near a place, by which no shade is told
_OTHER = 1.7  # times the spread of one thing
_EVERY = 4  # small pixels: fine enough for shades


class PlaneLike(Protocol):
    """What of a plane is needed here."""

    def mm_from_px(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) millimetres of (N, 2) pixels."""

    def px_from_mm(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) pixels of (N, 2) millimetres."""


@dataclass(frozen=True)
class Small:
    """The photo at about an eighth of its scale, with what is known of it; `rgb_px` is all of it."""

    size: tuple[int, int]
    scale: int
    rgb_px: np.ndarray
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
        small_rgb: np.ndarray | None = None,
    ) -> Small:
        """Take the photo and, where it is made already, its small picture (as of `shrunk`)."""
        h, w = rgb.shape[:2]
        small = shrunk(rgb) if small_rgb is None else small_rgb
        scale = round(max(h, w) / max(small.shape))
        small = cv2.medianBlur(small, 5)  # takes away printed lines
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
        return cls((w, h), scale, rgb, small, cards, bare, segments, seen)

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

    def _learn(self, points_px: np.ndarray) -> Mat | None:
        places, i = self._inside(points_px)
        if not len(places):
            return None
        return Mat.learn(self.size, places, self.rgb[i[:, 1], i[:, 0]])

    def mat_beside_lines(self) -> Mat | None:
        """Learn the mat beside its printed lines; None where none are known."""
        if self.segments is None or self.seen is None:
            return None
        a, b = self.segments[self.seen, 0], self.segments[self.seen, 1]
        middle, side = (a + b) / 2, (b - a) @ np.array([[0, 1], [-1, 0]])
        return self._learn(np.vstack([middle + 0.25 * side, middle - 0.25 * side]))

    def grow(self, mat: Mat) -> Mat:
        """Learn the mat again from all of the photo that looks like it."""
        y, x = np.mgrid[0 : self.cards.shape[0] : 6, 0 : self.cards.shape[1] : 6]
        y, x = y.ravel(), x.ravel()
        places, colours = self.to_photo(np.stack([x, y], 1)), self.rgb[y, x].astype(float)
        free = self.cards[y, x] == 0
        for _ in range(3):
            like = free & (mat.unlike(colours, mat.colours(places), (0.8, 1.2)) < 3 * mat.sigma + 5)
            if like.sum() <= 50:
                continue
            grown = Mat.learn(self.size, places[like], colours[like])
            if grown.sigma > _OTHER * mat.sigma + 1:  # it has taken in another thing
                break
            mat = grown
        return mat

    def mat_around(self, plane: PlaneLike, corners_mm: np.ndarray) -> Mat | None:
        """Learn the mat just outside a quadrilateral; None where none of it is in the photo."""
        middle = corners_mm.mean(0)
        rim = np.vstack([np.linspace(corners_mm[i], corners_mm[(i + 1) % 4], 80) for i in range(4)])
        out = (rim - middle) / np.linalg.norm(rim - middle, axis=1)[:, None]
        places = np.vstack([plane.px_from_mm(rim + d * out) for d in (6.0, 9.0, 12.0)])
        return self._learn(places)

    def unlike(self, mat: Mat, part: np.ndarray | None = None) -> np.ndarray:
        """(h, w) distance from the mat's colour, or from that part of it.

        The colour counts as it is all over, and as it is near by.

        A shadow, a glare or a stain changes the mat here and there; its lines are seen in them,
        and the colour beside these is the mat's.
        """
        h, w = self.cards.shape
        expected = mat.everywhere(self.to_photo(np.arange(w)), self.to_photo(np.arange(h)))
        if part is not None:
            expected = (expected * part).astype(np.float32)
        colours = self.rgb.astype(np.float32)
        off = mat.unlike(colours, expected, _COARSE_SHADE)
        shade = self._shade_near_lines(mat, expected)
        if shade is not None:
            off = np.minimum(off, mat.unlike(colours, expected * shade, _COARSE_SHADE))
            off = self._without_lines(off)
        return off

    def evenly(self, off: np.ndarray, limit: float) -> np.ndarray:
        """How unlike mat it is on the mean all around, so that `limit` says what is no mat.

        A fine pale print is a little unlike mat all over, where the mat is so here and there.
        """
        mean = cv2.blur(np.minimum(off, 2 * limit), (_PRINT, _PRINT))
        a, b = self.lines[0][self.lines[1], 0], self.lines[0][self.lines[1], 1]
        side = 0.3 * (b - a) @ np.array([[0, 1], [-1, 0]])
        _, i = self._inside(np.vstack([(a + b) / 2 + side, (a + b) / 2 - side]))
        usual = float(np.percentile(mean[i[:, 1], i[:, 0]], 90)) if len(i) else limit
        return mean * (limit / max(2 * usual, 0.15 * limit))

    def _without_lines(self, off: np.ndarray) -> np.ndarray:
        """Leave out what is unlike mat along its lines alone, and not on both sides of them."""
        size = int(np.clip((self.cell - 3) | 1, 3, 7))
        on_lines = np.zeros(off.shape, np.uint8)
        ends = np.round(self.to_small(self.lines[0][self.lines[1]])).astype(np.int32)
        cv2.polylines(on_lines, list(ends), False, 1, 3)
        opened = cv2.morphologyEx(off, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
        return np.where(on_lines > 0, opened, off)

    def _shade_near_lines(self, mat: Mat, expected: np.ndarray) -> np.ndarray | None:
        """(h, w, 3) colour beside the lines seen near by, as a part of what is expected."""
        if self.segments is None or self.seen is None:
            return None
        a, b = self.segments[self.seen, 0], self.segments[self.seen, 1]
        middle, side = (a + b) / 2, (b - a) @ np.array([[0, 1], [-1, 0]])
        h, w = self.cards.shape
        at = np.round(self.to_small(np.stack([middle + 0.25 * side, middle - 0.25 * side])))
        i = np.clip(at.astype(int), 0, (w - 1, h - 1))
        here, there = (
            self.rgb[i[..., 1], i[..., 0]].astype(np.float32),
            expected[i[..., 1], i[..., 0]],
        )
        part = here / np.maximum(there, 4)
        own = (mat.unlike(here, there, _ANY_SHADE) < 3 * mat.limit).all(axis=0)
        own &= (self.cards[i[..., 1], i[..., 0]] == 0).all(axis=0)
        # a weave shows lines here and there; 0: too few are known to say
        near = self.lines_seen[i[..., 1], i[..., 0]]
        own &= ((near > _MOST_SEEN) | (near == 0)).all(axis=0)
        # beside an edge of cloth the two sides of a line are not alike
        own &= np.abs(part[0] - part[1]).max(axis=1) < _ALIKE * part.mean(axis=(0, 2))
        alike = np.broadcast_to(own, (2, len(own))).ravel()
        part = np.where(alike[:, None], part.reshape(-1, 3), 0)
        shade = np.ones(3, np.float32)
        for wider in (6, 2):  # the nearest count, where there are enough
            near = self._near(
                i.reshape(-1, 2), np.column_stack([part, alike]), wider * self.cell + 1
            )
            weight, known = near[..., 3:4], near[..., 4:]
            some = weight > np.maximum(0.5, _FEW * known)
            shade = np.where(some, near[..., :3] / np.maximum(weight, 1e-6), shade)
        return self._everywhere(shade)

    def _near(self, at: np.ndarray, values: np.ndarray, window: int) -> np.ndarray:
        """Sums of (N, k) values and their number in the window about every fourth small pixel."""
        h, w = self.cards.shape
        few = (h + _EVERY - 1) // _EVERY, (w + _EVERY - 1) // _EVERY
        cell = at[:, 1] // _EVERY * few[1] + at[:, 0] // _EVERY
        sums = [
            np.bincount(cell, v, few[0] * few[1]).reshape(few)
            for v in (*values.T, np.ones(len(at)))
        ]
        size = window // _EVERY | 1
        return cv2.boxFilter(
            np.dstack(sums).astype(np.float32), -1, (size, size), normalize=False,
            borderType=cv2.BORDER_CONSTANT,
        )  # fmt: skip

    def _everywhere(self, few: np.ndarray) -> np.ndarray:
        """Of every small pixel, from every fourth."""
        h, w = self.cards.shape
        return cv2.resize(few, None, fx=_EVERY, fy=_EVERY, interpolation=cv2.INTER_LINEAR)[:h, :w]

    @property
    def lines(self) -> tuple[np.ndarray, np.ndarray]:
        """The mat's lines from crossing to crossing, (M, 2, 2), and where they are seen, (M,)."""
        if self.segments is None or self.seen is None:
            return np.zeros((0, 2, 2)), np.zeros(0, bool)
        return self.segments, self.seen

    @cached_property
    def cell(self) -> int:
        """Small pixels from line to line of the mat; none, 0."""
        if self.segments is None:
            return 0
        ends = self.to_small(self.segments)
        return int(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))

    @cached_property
    def lines_seen(self) -> np.ndarray:
        """(h, w) part of the mat's lines near each place that are seen there; none known, 0."""
        if self.segments is None or self.seen is None:
            return np.zeros(self.cards.shape, np.float32)
        middle = np.round(self.to_small(self.segments.mean(axis=1))).astype(int)
        h, w = self.cards.shape
        ok = (middle >= 0).all(axis=1) & (middle[:, 0] < w) & (middle[:, 1] < h)
        near = self._near(middle[ok], self.seen[ok, None].astype(float), 2 * self.cell + 1)
        seen, known = cv2.split(self._everywhere(near))
        return np.where(known > 3.5, seen / np.maximum(known, 1), 0).astype(np.float32)

    def hidden(self) -> tuple[np.ndarray, int]:
        """(h, w) mask of where several neighbouring lines are not seen, and the cells' size."""
        mask = np.zeros(self.cards.shape, np.uint8)
        if self.segments is None or self.seen is None:
            return mask, 0
        ends = np.round(self.to_small(self.segments)).astype(np.int32)
        cell = self.cell
        for which, thick, value in ((~self.seen, 1.0, 1), (self.seen, 0.6, 0)):
            cv2.polylines(mask, list(ends[which]), False, value, max(1, round(thick * cell)))
        size = max(3, round(0.7 * cell))
        return cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((size, size), np.uint8)), cell

    def bare(self) -> np.ndarray:
        """(h, w) mask of where nothing lies on the mat: all lines near by are seen."""
        mask = np.zeros(self.cards.shape, np.uint8)
        if self.segments is None or self.seen is None:
            return mask
        ends = np.round(self.to_small(self.segments)).astype(np.int32)
        for which, value in ((self.seen, 1), (~self.seen, 0)):
            cv2.polylines(mask, list(ends[which]), False, value, max(1, round(1.2 * self.cell)))
        size = max(3, round(0.7 * self.cell))
        return cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))

    def lines_seen_around(self, part: np.ndarray, cell: int) -> bool:
        """Whether the mat's lines show all around a part, so that it is cloth that hides them."""
        if self.segments is None or self.seen is None:
            return False
        wide, narrow = (
            cv2.dilate(part, np.ones((2 * round(n * cell) + 1,) * 2, np.uint8)) for n in (1.2, 0.6)
        )
        middle = np.round(self.to_small(self.segments.mean(1))).astype(int)
        h, w = part.shape
        inside = (middle >= 0).all(1) & (middle[:, 0] < w) & (middle[:, 1] < h)
        ring = (wide > narrow) & (self.cards == 0)
        around = np.zeros(len(middle), bool)
        around[inside] = ring[middle[inside, 1], middle[inside, 0]]
        return bool(around.sum() >= 12 and self.seen[around].mean() > 0.85)


def depths(points: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """(N, 4) how far inside the sides of four corners in clockwise order points lie."""
    along = np.roll(corners, -1, axis=0) - corners
    inwards = along @ np.array([[0, 1], [-1, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    return np.asarray(np.einsum("nsi,si->ns", points[:, None] - corners[None], inwards))
