"""Seams, points and the axis against simulated blocks whose piecing is known exactly."""

import math

import cv2
import numpy as np
import pytest

from blockcheck.measuring.measure import measure_photo
from blockcheck.vision.photo import read_photo
from blockcheck.vision.seams.points import (
    AXIS_REACH,
    POINT_REACH,
    Suggested,
    axis_of,
    points_near_edge,
)
from blockcheck.vision.seams.seam import Seam
from blockcheck.vision.seams.search import find_seams
from fixtures import scene
from fixtures.cloth import PATCHES
from fixtures.make import DEMO, PHOTOS, quad, sailboats

SEAM = 6.35  # mm, 1/4 in
# corners of the sailboat's patches that lie within an inch of the raw edge and are joined by
# seams of more than half an inch, in parts of the finished block
POINTS = {
    "peak": (0.55, 0.06),
    "big sail": (0.96, 0.62),
    "hull right": (1.0, 0.68),
    "hull left": (0.0, 0.68),
    "small sail": (0.10, 0.62),
}
GOOSE = (
    (((0.0, 1.0), (0.5, 0.0), (1.0, 1.0)), 1, "solid"),
    (((-1.0, 1.0), (2.0, 1.0), (2.0, 2.0), (-1.0, 2.0)), 2, "solid"),
)


def in_block(made, parts, corners_world):
    """Block coordinates of places (N, 2) given in parts of the finished block."""
    corners = np.array(made.corners_mm)
    width, height = (
        (math.dist(corners[a], corners[b]) + math.dist(corners[c], corners[d])) / 2
        for a, b, c, d in ((0, 1, 3, 2), (0, 3, 1, 2))
    )
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    H = cv2.getPerspectiveTransform(flat, corners.astype(np.float32))
    sewn = np.array(parts) * (width - 2 * SEAM, height - 2 * SEAM) + SEAM
    world = cv2.perspectiveTransform(sewn.reshape(1, -1, 2), H)[0]
    origin, right = np.array(corners_world[0]), np.array(corners_world[1])
    c, s = (right - origin) / math.dist(right, origin)
    return (world - origin) @ np.array([[c, -s], [s, c]])


def look(path):
    """What is seen of one block of a photo: seams, marks, and its true corners' frame."""
    result = measure_photo(path, card_side="4in")
    assert result.ok, result.problems
    rgb, found = read_photo(path).rgb, []
    for b in result.blocks:
        seams = find_seams(rgb, result.plane, b.corners_px, b.outline_block_mm, 0.5)
        points = points_near_edge(seams, b.outline_block_mm, POINT_REACH * SEAM)
        marks = Suggested(points, axis_of(seams, b.corners_block_mm, AXIS_REACH * SEAM))
        found.append((seams, marks))
    return found


@pytest.fixture(scope="module", params=["sailboat-1", "sailboat-4"])
def boat(request):
    (found,) = look(DEMO / f"{request.param}.jpg")
    made = sailboats()[request.param]
    corners = scene.truth(made)["blocks"][0]["corners_world"]
    return made.blocks[0], corners, *found


def test_every_seam_lies_on_a_true_one(boat):
    made, corners, seams, _ = boat
    sides = []
    for polygon, _, _ in PATCHES["sailboat"]:
        at = in_block(made, polygon, corners)
        sides += list(zip(at, np.roll(at, -1, axis=0), strict=True))
    assert len(seams) >= 10
    furthest = []
    for seam in seams:
        off = []
        for a, b in sides:
            along = (b - a) / math.dist(a, b)
            off.append(np.abs((seam.ends_mm - a) @ (-along[1], along[0])).max())
        furthest.append(min(off))
    # where the hull ends in a pale stripe on pale stripes, half a stripe is 1.6 mm
    assert sorted(furthest)[-2] < 0.5
    assert max(furthest) < 1.6


def test_points_are_found_within_their_uncertainty_and_no_others(boat):
    made, corners, _, marks = boat
    true = in_block(made, list(POINTS.values()), corners)
    found = np.array([(p.x_mm, p.y_mm) for p in marks.points])
    assert len(found) == len(true)
    for point, at in zip(marks.points, found, strict=True):
        assert np.hypot(*(true - at).T).min() < point.u95_mm
        assert 0.3 < point.u95_mm < 2.5
    for at in true:
        assert np.hypot(*(found - at).T).min() < 1.0


def test_the_axis_runs_through_the_mast(boat):
    made, corners, _, marks = boat
    assert marks.axis is not None
    (ax, ay), (bx, by) = marks.axis.ends_mm
    for x, y in in_block(made, [(0.5, 0.1), (0.5, 0.8)], corners):
        across = (by - ay, ax - bx) / np.hypot(bx - ax, by - ay)
        assert abs((x - ax, y - ay) @ across) < marks.axis.u95_mm


def test_a_goose_s_tip_lies_a_seam_allowance_inside(tmp_path, monkeypatch):
    monkeypatch.setitem(PATCHES, "goose", GOOSE)
    block = scene.Block(quad(152.4, 89, (-60, 0), 3), cloth="goose")
    made = scene.Scene(scene.Camera(), cards=(scene.Card(centre_mm=(85, 0)),), blocks=(block,))
    scene.save(made, tmp_path / "goose.jpg")
    ((_, marks),) = look(tmp_path / "goose.jpg")
    true = in_block(block, [(0.5, 0)], scene.truth(made)["blocks"][0]["corners_world"])[0]
    tip = min(marks.points, key=lambda p: math.dist((p.x_mm, p.y_mm), true))
    assert math.dist((tip.x_mm, tip.y_mm), true) < 1.0
    assert marks.axis is not None
    assert marks.axis.ends_mm[0][0] == pytest.approx(true[0], abs=1.0)


def test_prints_without_seams_give_nothing(tmp_path):
    cloths = [
        ("stripe", (-95, -70)),
        ("dots", (0, -70)),
        ("gingham", (-95, 60)),
        ("solid", (0, 60)),
    ]
    blocks = tuple(
        scene.Block(quad(80, 90, at, 4), cloth=cloth, wave_mm=0.1, threads=1)
        for cloth, at in cloths
    )
    made = scene.Scene(scene.Camera(), cards=(scene.Card(centre_mm=(115, 0)),), blocks=blocks)
    scene.save(made, tmp_path / "plain.jpg")
    found = look(tmp_path / "plain.jpg")
    assert len(found) == 4
    for seams, marks in found:
        assert seams == ()
        assert marks.points == ()
        assert marks.axis is None


def test_a_ninepatch_has_four_seams_that_meet_far_from_the_edge():
    (seams, marks), (others, plain) = look(PHOTOS / "two-small.jpg")
    assert len(seams) == 4
    assert all(seam.length_mm > 80 for seam in seams)
    assert marks.points == ()
    assert marks.axis is None  # of strips alone no axis can be told
    assert (others, plain.points, plain.axis) == ((), (), None)


# --- the arithmetic alone ---

OUTLINE = np.array([[0, 0], [150, 0], [150, 100], [0, 100]], float)


def line(a, b, u=0.2, turn=0.002):
    return Seam(np.array([a, b], float), u, turn, 30.0)


def test_seams_that_meet_near_the_edge_make_one_point():
    tip = (line((40, 60), (74, 8)), line((76, 8), (110, 60)), line((75, 20), (75, 9)))
    (point,) = points_near_edge(tip, OUTLINE, 4 * SEAM)
    assert (point.x_mm, point.y_mm) == (pytest.approx(75, abs=0.1), pytest.approx(6.5, abs=0.3))
    assert point.seams == 3


@pytest.mark.parametrize(
    "seams",
    [
        (line((40, 60), (75, 50)), line((75, 50), (110, 60))),  # in the middle of the block
        (line((40, 40), (74, 8)), line((92, 8), (120, 40))),  # ends that do not reach each other
        (line((10, 10), (90, 10)), line((10, 14), (90, 12))),  # hardly different directions
        (line((10, 10), (90, 10)),),
        (),
    ],
)
def test_what_is_no_point_near_the_edge(seams):
    assert points_near_edge(seams, OUTLINE, 4 * SEAM) == ()


def test_the_uncertainty_of_a_point_is_the_spread_of_its_lines():
    rng = np.random.default_rng(7)
    ends = np.array([[[40, 60], [75, 8]], [[75, 8], [110, 60]]], float)
    at = []
    for _ in range(4000):
        moved = []
        for a, b in ends:
            along = (b - a) / math.dist(a, b)
            normal = np.array([-along[1], along[0]])
            shift, turn = rng.normal(0, 0.2), rng.normal(0, 0.004) * math.dist(a, b) / 2
            moved.append(line(a + (shift - turn) * normal, b + (shift + turn) * normal, 0.2, 0.004))
        (point,) = points_near_edge(tuple(moved), OUTLINE, 4 * SEAM)
        at.append((point.x_mm, point.y_mm))
    worst = math.sqrt(np.linalg.eigvalsh(np.cov(np.array(at).T)).max())
    assert point.u95_mm == pytest.approx(2 * worst, rel=0.08)


def test_an_axis_needs_more_than_one_pair_of_strips():
    strips = (line((45, 2), (45, 98)), line((109, 2), (109, 98)))
    assert axis_of(strips, OUTLINE, 2 * SEAM) is None
    four = (*strips, line((20, 2), (20, 98)), line((134, 2), (134, 98)))
    assert axis_of(four, OUTLINE, 2 * SEAM).ends_mm == ((77, 0), (77, 100))


def test_an_axis_comes_from_slanting_seams_near_the_middle_only():
    roof = (line((37, 60), (77, 8)), line((77, 8), (117, 60)))
    axis = axis_of(roof, OUTLINE, 2 * SEAM)
    assert axis.ends_mm == ((77, 0), (77, 100))
    assert axis_of(roof, OUTLINE, 1.5) is None
    level = tuple(Seam(s.ends_mm[:, ::-1], s.u_mm, s.u_turn, 30.0) for s in roof)
    turned = OUTLINE[[0, 3, 2, 1]][:, ::-1]
    assert axis_of(level, turned, 2 * SEAM).ends_mm == ((0, 77), (100, 77))


def test_seams_that_pair_by_chance_do_not_move_the_axis():
    sides = np.array([[0, 0], [153, 0], [153, 229], [0, 229]], float)
    mast = (line((73.7, 9), (73.7, 155)), line((79.3, 155), (79.3, 8)))
    sails = (line((69.5, 45), (69.5, 142)), line((83.5, 20), (83.5, 142)),
             line((19, 140), (72, 140)), line((82, 140), (143, 140)))  # fmt: skip
    assert axis_of((*mast, *sails), sides, 2 * SEAM) is None
    hull = (line((6, 153), (35, 192)), line((147, 153), (118, 192)), line((6, 153), (147, 153)))
    assert axis_of((*mast, *sails, *hull), sides, 2 * SEAM).ends_mm == ((76.5, 0), (76.5, 229))
