"""Raw edges found in small made scenes whose truth is known."""

from dataclasses import dataclass

import cv2
import numpy as np
import pytest

from blockcheck.errors import BlockCutOffError, MeasureError, NoBlockError
from blockcheck.vision.cloth.edges import trace
from blockcheck.vision.cloth.evidence import Colours
from blockcheck.vision.cloth.mat_looks import Mat
from blockcheck.vision.cloth.outline import find_outlines, outline_near

W, H, PX_PER_MM = 1200, 900, 4.0
MAT, CLOTH = (30, 112, 92), (196, 60, 66)
BLOCK = np.array([[420.0, 210.0], [905.0, 240.0], [880.0, 700.0], [395.0, 665.0]])
CARD = np.array([[60.0, 60.0], [260.0, 60.0], [260.0, 260.0], [60.0, 260.0]])


@dataclass(frozen=True)
class Level:
    """A camera straight above the mat."""

    def mm_from_px(self, points_px, height_mm=0.0):
        return np.atleast_2d(np.asarray(points_px, float)) / PX_PER_MM

    def px_from_mm(self, points_mm, height_mm=0.0):
        return np.atleast_2d(np.asarray(points_mm, float)) * PX_PER_MM


def light_of(colour):
    """Linear light of an sRGB colour."""
    v = np.asarray(colour, float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def covered(polygon):
    """How much of each pixel a convex clockwise polygon covers."""
    y, x = np.mgrid[0:H, 0:W]
    depth = np.full((H, W), np.inf)
    polygon = np.asarray(polygon, float)
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        u = (b - a) / np.linalg.norm(b - a)
        depth = np.minimum(depth, u[0] * (y - a[1]) - u[1] * (x - a[0]))
    return np.clip(depth + 0.5, 0, 1)[..., None]


def paint(picture, polygon, colour):
    part = covered(polygon)
    return picture * (1 - part) + part * light_of(colour)


def scene(*blocks, colour=CLOTH, mat=MAT, lines=False, shadow=0.0, soft=5.0, thread=False):
    """A photo of blocks on a mat, blurred in linear light as a lens does."""
    picture = np.ones((H, W, 1)) * light_of(mat)
    if lines:
        for at in range(50, W, 100):
            picture[:, at - 1 : at + 2] = light_of((190, 200, 150))
            picture[at - 1 : at + 2] = light_of((190, 200, 150))
    for block in blocks:
        if shadow:
            shade = covered(block + np.array([4, 4]))[..., 0]
            picture *= 1 - shadow * cv2.GaussianBlur(shade, (0, 0), soft)[..., None]
        picture = paint(picture, block, colour)
    if thread:
        picture = paint(picture, [[600, 190], [603, 190], [603, 240], [600, 240]], colour)
        picture = paint(picture, [[700, 205], [725, 205], [720, 240], [705, 240]], colour)
    picture = paint(picture, CARD, (250, 250, 250))
    picture *= np.linspace(0.8, 1.0, W)[None, :, None]
    v = np.clip(cv2.GaussianBlur(picture, (0, 0), 1.0), 1e-6, 1)
    photo = 255 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    photo += np.random.default_rng(1).normal(0, 2.5, photo.shape)
    return np.clip(photo + 0.5, 0, 255).astype(np.uint8)


def lattice(*blocks):
    """Pieces of the printed lines of `scene`, and which of them no block hides."""
    at = np.arange(50, 1200, 100)
    ends = [((x, y), (x, y + 100)) for x in at for y in at if y < H - 100]
    ends += [((x, y), (x + 100, y)) for x in at for y in at if x < W - 100 and y < H]
    segments = np.array(ends, float)
    seen = [
        all(cv2.pointPolygonTest(b.astype(np.float32), m.tolist(), False) < 0 for b in blocks)
        for m in segments.mean(axis=1)
    ]
    return {"mat_segments_px": segments, "mat_segments_seen": np.array(seen)}


def find(photo, **more):
    return find_outlines(photo, Level(), exclude_px=[CARD], **more)


def off_side(side, a, b):
    """Signed distances of a side's points from the line through a and b, outwards positive."""
    u = (b - a) / np.linalg.norm(b - a)
    return (side.points_px - a) @ np.array([u[1], -u[0]])


@pytest.mark.parametrize("lines", [False, True])
@pytest.mark.parametrize("colour", [CLOTH, (240, 236, 228), (18, 20, 30)])
def test_corners_and_sides_are_where_they_were_drawn(colour, lines):
    more = lattice(BLOCK) if lines else {}
    (found,) = find(scene(BLOCK, colour=colour, lines=lines), **more)
    assert np.abs(found.corners_px - BLOCK).max() < 0.7
    for i, side in enumerate(found.sides):
        assert not side.by_hand
        assert side.support > 0.9
        off = off_side(side, BLOCK[i], BLOCK[(i + 1) % 4])
        assert abs(off.mean()) < 0.4
        assert np.percentile(np.abs(off), 95) < 1  # a line at a corner may draw a few


def test_cloth_of_nearly_the_mats_colour():
    near = (38, 124, 84)
    (found,) = find(scene(BLOCK, colour=near, lines=True), **lattice(BLOCK))
    assert np.abs(found.corners_px - BLOCK).max() < 1.5


def test_two_blocks_in_one_photo():
    left = np.array([[330.0, 320.0], [600.0, 330.0], [595.0, 620.0], [322.0, 615.0]])
    right = left + np.array([300, 12])
    found = find(scene(left, right))
    assert len(found) == 2
    for true, outline in zip((left, right), found, strict=True):
        assert np.abs(outline.corners_px - true).max() < 0.6


def test_threads_and_dog_ears_do_not_pull_the_side():
    (found,) = find(scene(BLOCK, thread=True))
    assert np.abs(found.corners_px - BLOCK).max() < 0.6
    assert np.abs(off_side(found.sides[0], BLOCK[0], BLOCK[1])).max() < 3


@pytest.mark.parametrize("colour", [CLOTH, (240, 236, 228), (18, 20, 30)])
def test_shadow_is_not_cloth(colour):
    (found,) = find(scene(BLOCK, colour=colour, shadow=0.35))
    assert np.abs(found.corners_px - BLOCK).max() < 1.2


@pytest.mark.parametrize("colour", [(130, 110, 105), (120, 100, 110), (90, 100, 110)])
@pytest.mark.parametrize("shadow", [0.3, 0.4])
def test_a_shadow_with_a_sharp_end_is_not_cloth(colour, shadow):
    """Its end is as sharp as the edge of cloth that is little unlike the mat."""
    found = find(scene(BLOCK, colour=colour, mat=(124, 124, 122), shadow=shadow, soft=0.6))[0]
    for k in (1, 2):  # the sides away from the light
        assert abs(np.median(off_side(found.sides[k], BLOCK[k], BLOCK[(k + 1) % 4]))) < 0.3


def test_cloth_with_a_dark_stripe_at_its_edge_is_not_shadow():
    """A stripe of another hue than the mat's belongs to the cloth, however dark."""
    photo = scene(BLOCK, colour=(140, 160, 220), mat=(124, 124, 122))
    inner = BLOCK + np.array([[4, 4], [-4, 4], [-4, -4], [4, -4]]) * 1.5
    striped = scene(BLOCK, colour=(60, 90, 75), mat=(124, 124, 122))
    photo = np.where(covered(inner) > 0.5, photo, striped)
    for k, side in enumerate(find(photo)[0].sides):
        assert abs(np.median(off_side(side, BLOCK[k], BLOCK[(k + 1) % 4]))) < 0.5


def test_a_block_that_leaves_the_photo_is_refused():
    with pytest.raises(BlockCutOffError, match="edge of the photo") as error:
        find(scene(BLOCK + np.array([420, 0])))
    assert error.value.hint


@pytest.mark.parametrize("lines", [False, True])
def test_an_empty_mat_is_refused(lines):
    with pytest.raises(NoBlockError):
        find(scene(lines=lines), **(lattice() if lines else {}))


def test_a_soft_blob_is_no_block():
    photo = scene().astype(float)
    y, x = np.mgrid[0:H, 0:W]
    photo *= 1 - 0.5 * np.exp(-(((x - 700) ** 2 + (y - 500) ** 2) / (2 * 120**2)))[..., None]
    with pytest.raises(MeasureError):
        find(photo.astype(np.uint8))


def test_corners_set_by_hand_settle_on_the_edges():
    rough = BLOCK + np.array([[6, -5], [-7, 4], [5, 6], [-4, -6]])
    found = outline_near(scene(BLOCK), Level(), rough)
    assert np.abs(found.corners_px - BLOCK).max() < 0.6
    assert not any(side.by_hand for side in found.sides)


def test_corners_set_by_hand_stand_where_no_edge_is_found():
    found = outline_near(scene(), Level(), BLOCK)
    assert all(side.by_hand and side.support == 0 for side in found.sides)
    assert np.abs(found.corners_px - BLOCK).max() < 0.1


@pytest.mark.parametrize("fine", [False, True])
def test_sides_followed_together_are_as_each_by_itself(fine):
    photo = scene(BLOCK, shadow=0.4, thread=True)
    y, x = np.mgrid[20:180:20, 300:1180:20]
    mat = Mat.learn((W, H), np.column_stack([x.ravel(), y.ravel()]), photo[y, x].reshape(-1, 3))
    along = np.roll(BLOCK, -1, axis=0) - BLOCK
    base = BLOCK[:, None] + np.linspace(0.03, 0.97, 60)[:, None] * along[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    rest = ((12.0, 12.0), PX_PER_MM, None, (np.zeros((H, W), np.uint8), 1), fine)
    cloth = Colours.learn(photo[300:600:10, 450:850:10].reshape(-1, 3))
    together, _ = trace(photo, mat, cloth, base, outward, *rest)
    for side, b, o in zip(together, base, outward, strict=True):
        (alone,), _ = trace(photo, mat, cloth, b[None], o[None], *rest)
        np.testing.assert_allclose(side.points_px, alone.points_px, atol=0.01)
        assert side.sigma_px == pytest.approx(alone.sigma_px, abs=0.01)
        assert side.support == alone.support > 0.9
