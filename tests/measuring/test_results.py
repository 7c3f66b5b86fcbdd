"""What a measurement says: its JSON, its block coordinates, its squareness, its verdicts."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from blockcheck.errors import Problem
from blockcheck.measuring.results import Measurement, PhotoResult, Taken
from blockcheck.uncertainty import Estimate, Term
from blockcheck.vision.plane.lens import Camera
from blockcheck.vision.plane.plane import Placed, Plane
from blockcheck.vision.plane.reference import Reference


def sure_to(value, u):
    return Estimate(value, (Term("edge fit", u),))


CORNERS = np.array([[10.0, 20.0], [90, 80], [45, 140], [-35, 80]])  # turned by 3-4-5: 100 x 75
BLOCK = Measurement(
    corners_px=CORNERS * 4 + 1 / 7,
    corners_mm=CORNERS + 4e-5,
    width_mm=sure_to(100.123456, 0.1),
    height_mm=sure_to(75.0, 0.15),
    sides_mm=tuple(sure_to(mm, 0.2) for mm in (100.0, 75.1, 100.2, 74.9)),
    diagonals_mm=(
        Estimate(125.5, (Term("edge fit", 0.3), Term("print scale", 2.0))),
        Estimate(124.9, (Term("waviness", 0.4), Term("print scale", 2.0))),
    ),
    angles_deg=tuple(sure_to(a, 0.05) for a in (90.1, 89.9, 90.2, 89.8)),
    bow_mm=tuple(sure_to(b, 0.05) for b in (0.1, 0.2, 0.3, 0.4)),
    outline_mm=np.array([[10.0, 20.0], [50.0, 50.0]]),
    corners_cov_mm2=np.eye(8),
)


def plane():
    """Seen at 10° of tilt; a card and the mat's lines in view."""
    placed = []
    for kind in ("grid", "card"):
        own = Reference(kind, kind, np.zeros((0, 2)), np.zeros((0, 2)), None, 0.1, 1e-3)
        placed.append(Placed(own, np.eye(2, 3), 0.0, 0.0, 0.0, None, 0.0, np.zeros(2)))
    c, s = np.cos(np.radians(10)), np.sin(np.radians(10))
    tilt = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    camera = Camera(tilt, np.array([0, 0, 400.0]), 1600.0, 0, 0, 800, 600)
    return Plane(camera, {}, tuple(placed), 0.123456)


def test_the_json_of_a_photo_has_the_names_and_digits_that_stay():
    warning = Problem("tilted", "warning", "It is tilted.", "Hold the phone level.")
    result = PhotoResult(Path("p.jpg"), "5a", (BLOCK,), (warning,), plane())
    said = json.loads(json.dumps(result.to_dict()))
    (block,) = said.pop("blocks")
    # a millimetre each way from the block's middle, as the photo shows it
    square = CORNERS.mean(axis=0) + np.array([[0, 0], [1, 0], [0, 1]])
    at, right, down = plane().px_from_mm(square)
    px_per_mm = np.sqrt(np.linalg.det([right - at, down - at]))
    assert said["reference"].pop("px_per_mm") == pytest.approx(px_per_mm, abs=0.01)
    assert said == {
        "schema": "blockcheck/measurement-1",
        "photo": "p.jpg",
        "sha256": "5a",
        "ok": True,
        "problems": [
            {
                "code": "tilted",
                "level": "warning",
                "message": "It is tilted.",
                "hint": "Hold the phone level.",
            }
        ],
        "reference": {
            "kinds": ["card", "grid"],
            "tilt_deg": 10.0,
            "fit_rms_px": 0.1235,
        },
    }
    assert block == {
        "corners_px": [
            [40.143, 80.143],
            [360.143, 320.143],
            [180.143, 560.143],
            [-139.857, 320.143],
        ],
        "corners_mm": CORNERS.tolist(),
        "width_mm": {"value": 100.1235, "u95": 0.2},
        "height_mm": {"value": 75.0, "u95": 0.3},
        "sides_mm": [{"value": mm, "u95": 0.4} for mm in (100.0, 75.1, 100.2, 74.9)],
        "diagonals_mm": [{"value": 125.5, "u95": 4.0447}, {"value": 124.9, "u95": 4.0792}],
        "angles_deg": [{"value": a, "u95": 0.1} for a in (90.1, 89.9, 90.2, 89.8)],
        "bow_mm": [{"value": b, "u95": 0.1} for b in (0.1, 0.2, 0.3, 0.4)],
    }


def test_photos_measured_together_are_listed_with_what_each_says():
    taken = (
        Taken(Path("a.jpg"), "5a", True, sure_to(100.1, 0.1), sure_to(75.2, 0.2)),
        Taken(Path("b.jpg"), None, False),
    )
    result = PhotoResult(Path("a.jpg"), "5a", (BLOCK,), (), None, together=taken)
    said = result.to_dict()
    assert said["reference"] is None
    assert said["together"] == [
        {
            "photo": "a.jpg",
            "sha256": "5a",
            "used": True,
            "width_mm": {"value": 100.1, "u95": 0.2},
            "height_mm": {"value": 75.2, "u95": 0.4},
        },
        {"photo": "b.jpg", "sha256": None, "used": False, "width_mm": None, "height_mm": None},
    ]
    assert "together" not in replace(result, together=()).to_dict()


def test_a_photo_with_an_error_or_without_a_block_was_not_measured():
    error = Problem("blurred", "error", "It is blurred.", "Take it again.")
    good = PhotoResult(Path("p.jpg"), "5a", (BLOCK,), (replace(error, level="warning"),), None)
    assert good.ok
    assert not replace(good, problems=(error,)).ok
    assert not replace(good, blocks=()).ok


def test_block_coordinates_begin_at_corner_0_and_run_along_the_top_side():
    np.testing.assert_allclose(
        BLOCK.corners_block_mm, [[0, 0], [100, 0], [100, 75], [0, 75]], atol=1e-4
    )
    np.testing.assert_allclose(BLOCK.outline_block_mm, [[0, 0], [50, 0]], atol=1e-4)


def test_squareness_is_the_difference_of_the_diagonals_without_what_scales_both():
    """The print's scale makes both longer alike; each edge and wave is its own."""
    off = BLOCK.out_of_square_mm
    assert off.value == pytest.approx(0.6)
    assert {t.name: t.u for t in off.budget} == {"edge fit": 0.3, "waviness": 0.4}
    assert off.u == pytest.approx(0.5)


def test_a_trim_line_stays_half_the_larger_u95_inside_the_edge():
    assert BLOCK.guard_mm == pytest.approx(0.15)


def test_a_size_exactly_at_the_tolerance_is_accepted():
    """JCGM 106, 8.2: what lies within the limits, these included."""
    block = replace(BLOCK, width_mm=sure_to(100.5, 0.25), height_mm=sure_to(74.0, 0.25))
    assert block.against((100.0, 75.0), 0.5) == ("yes", "no")
    assert block.against((101.0, 74.5), 0.5) == ("yes", "yes")
    # half a deviation beyond a limit that lies four off the other: 31 % (normal table)
    near = replace(block, width_mm=sure_to(100.625, 0.25))
    assert near.against((100.0, 74.0), 0.5) == ("no", "yes")
    assert near.doubts((100.0, 74.0), 0.5) == pytest.approx((0.3085, 0.0455), abs=1e-3)
