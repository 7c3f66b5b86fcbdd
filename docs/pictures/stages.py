"""Draw what each stage sees in a photo: ``python docs/pictures/stages.py PHOTO OUT.jpg --card-side 4in``.

Run from the repository. Options are the settings of a measurement. Where a stage ends the way
of the photo, its sentence stands in its panel and the later panels are empty.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from blockcheck.errors import MeasureError
from blockcheck.measuring.measure import find_outlines, plane_of
from blockcheck.settings import Settings
from blockcheck.vision.photo import Photo, read_photo
from blockcheck.vision.plane.plane import Plane
from blockcheck.vision.references.card import find_markers
from blockcheck.vision.seams.search import find_seams

WIDE = 640
INK = {"card": (230, 40, 40), "line": (0, 200, 255), "unseen": (255, 160, 0), "edge": (255, 0, 200)}


class Panel:
    """A small copy of the photo to draw on, in photo pixels."""

    def __init__(self, photo: Photo, title: str) -> None:
        height, width = photo.rgb.shape[:2]
        self.k = WIDE / width
        self.rgb = cv2.resize(
            photo.rgb, (WIDE, round(height * self.k)), interpolation=cv2.INTER_AREA
        )
        self.words = [title]

    def _at(self, points: np.ndarray) -> np.ndarray:
        return np.round((np.asarray(points) + 0.5) * self.k - 0.5).astype(int)

    def lines(self, ends: np.ndarray, colour: tuple[int, int, int], thick: int = 1) -> None:
        """Draw (N, 2, 2) pieces of line."""
        for a, b in self._at(ends):
            cv2.line(self.rgb, a.tolist(), b.tolist(), colour, thick, cv2.LINE_AA)

    def loop(self, points: np.ndarray, colour: tuple[int, int, int], thick: int = 2) -> None:
        """Draw a closed line."""
        cv2.polylines(self.rgb, [self._at(points)], True, colour, thick, cv2.LINE_AA)

    def dots(self, points: np.ndarray, colour: tuple[int, int, int]) -> None:
        """Draw places."""
        for x, y in self._at(points):
            cv2.circle(self.rgb, (int(x), int(y)), 3, colour, -1, cv2.LINE_AA)

    def done(self) -> np.ndarray:
        """The picture with its words above."""
        head = np.full((22 * len(self.words) + 8, WIDE, 3), 255, np.uint8)
        for i, text in enumerate(self.words):
            cv2.putText(
                head,
                text,
                (6, 20 + 22 * i),
                cv2.FONT_HERSHEY_SIMPLEX,
                0.5,
                (0, 0, 0),
                1,
                cv2.LINE_AA,
            )
        return np.vstack([head, self.rgb])


def decoded(photo: Photo, panel: Panel) -> None:
    """The upright photo, and every printed marker in it."""
    corners, ids = find_markers(photo.gray)
    for marker in corners:
        panel.loop(marker, INK["card"])
    panel.words.append(f"{photo.size[0]} x {photo.size[1]}, {photo.camera}; markers: {len(ids)}")


def references(plane: Plane, panel: Panel) -> None:
    """The places of known millimetres, and how well they fit."""
    for placed in plane.references:
        panel.dots(placed.reference.points_px, INK["card"])
        panel.words.append(
            f"{placed.name}: misfit {placed.rms_px:.2f} px, scale u {placed.scale_u:.1e}"
        )


def adjusted(plane: Plane, panel: Panel) -> None:
    """The mat's lines where the plane foresees them: seen, and not seen (something lies there)."""
    camera = plane.camera
    panel.words.append(f"f {camera.f:.0f} px, k1 {camera.k1:+.3f}, tilt {camera.tilt_deg:.1f} deg")
    if plane.mat is None:
        panel.words.append("no mat lines")
        return
    seen = plane.mat.seen.astype(bool)
    panel.lines(plane.mat.segments_px[~seen], INK["unseen"])
    panel.lines(plane.mat.segments_px[seen], INK["line"])
    panel.words.append(f"mat lines seen: {seen.sum()} of {len(seen)} pieces (orange: not)")


def cloth(photo: Photo, plane: Plane, panel: Panel) -> list[np.ndarray]:
    """Every block's raw edges, point by point, and its corners."""
    mat = plane.mat
    outlines = find_outlines(
        photo.rgb,
        plane,
        exclude_px=[p.outline_px for p in plane.references if p.outline_px is not None],
        mat_segments_px=None if mat is None else mat.segments_px,
        mat_segments_seen=None if mat is None else mat.seen,
        markers_px=plane.markers_px,
    )
    for outline in outlines:
        for side in outline.sides:
            panel.dots(side.points_px[::8], INK["edge"])
        panel.loop(outline.corners_px, INK["line"], 1)
    panel.words.append(f"blocks: {len(outlines)}; every eighth point of each edge")
    return [outline.corners_px for outline in outlines]


def seams(
    photo: Photo, plane: Plane, blocks: list[np.ndarray], height_mm: float, panel: Panel
) -> None:
    """The straight seams seen inside each block."""
    for corners_px in blocks:
        corners = plane.mm_from_px(corners_px, height_mm)
        c, s = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
        turn = np.array([[c, s], [-s, c]])
        outline = (corners - corners[0]) @ turn.T
        found = find_seams(photo.rgb, plane, corners_px, outline, height_mm)
        for seam in found:
            ends = seam.ends_mm @ turn + corners[0]
            panel.lines(plane.px_from_mm(ends, height_mm)[None], INK["edge"], 2)
        panel.words.append(f"seams: {len(found)}")


def main(path: str, out: str, *options: str) -> None:
    """Draw all stages of one photo."""
    names = [name.removeprefix("--").replace("-", "_") for name in options[::2]]
    given = Settings.of(**dict(zip(names, options[1::2], strict=True)))
    photo = read_photo(path)
    titles = (
        "1 decoded (vision/photo.py)",
        "2 references (vision/references/)",
        "3 plane (vision/plane/)",
        "4 cloth (vision/cloth/)",
        "5 seams (vision/seams/)",
    )
    panels = [Panel(photo, title) for title in titles]
    plane: Plane | None = None
    blocks: list[np.ndarray] = []

    def find_plane() -> None:
        nonlocal plane
        plane = plane_of(photo, given)
        references(plane, panels[1])

    def find_blocks() -> None:
        nonlocal blocks
        assert plane is not None
        blocks = cloth(photo, plane, panels[3])

    steps: list[tuple[int, Callable[[], None]]] = [
        (0, lambda: decoded(photo, panels[0])),
        (1, find_plane),
        (2, lambda: adjusted(plane, panels[2]) if plane else None),
        (3, find_blocks),
        (4, lambda: seams(photo, plane, blocks, given.cloth_height, panels[4]) if plane else None),
    ]
    for i, step in steps:
        try:
            step()
        except MeasureError as error:
            panels[i].words.append(f"{error.code}: {error.message}")
            if error.doubtful is not None:
                panels[i].loop(np.array(error.doubtful.corners_px), INK["unseen"])
            break
    pictures = [panel.done() for panel in panels]
    pictures.append(np.full_like(pictures[0], 255))
    tall = max(p.shape[0] for p in pictures)
    pictures = [
        np.vstack([p, np.full((tall - p.shape[0], WIDE, 3), 255, np.uint8)]) for p in pictures
    ]
    whole = np.vstack([np.hstack(pictures[:3]), np.hstack(pictures[3:])])
    cv2.imwrite(out, whole[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
