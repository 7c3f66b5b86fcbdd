"""What EXIF says of the focal length, each field by itself and together, and the lens it gives."""

import math

import cv2
import numpy as np
import pytest
from PIL import Image

from blockcheck.vision.photo import Optics, read_photo
from blockcheck.vision.plane.focal import focal_of
from blockcheck.vision.plane.lens import Camera, LensPrior

FULL = (4000, 3000)


def within(found, true, sigmas=2.0):
    focal, u = found
    return abs(math.log(focal / true)) < sigmas * u


def test_the_35mm_equivalent_is_taken_as_it_is():
    focal, u = focal_of(Optics(focal_35mm=26), FULL)
    assert focal == 26
    assert u < 0.05


def test_a_square_crop_is_longer_by_up_to_the_diagonals_ratio():
    """4000 x 3000 cut to 3000 x 3000: 5000 px of diagonal become 4243, or the field says so."""
    found = focal_of(Optics(focal_35mm=26), (3000, 3000))
    assert within(found, 26)
    assert within(found, 26 * 5000 / 4243)


def test_a_crop_that_the_written_size_gives_away_is_reckoned():
    focal, _ = focal_of(Optics(focal_35mm=26, written=FULL), (2000, 2400))
    assert focal == pytest.approx(26 * 5000 / math.hypot(2000, 2400))
    assert focal_of(Optics(focal_35mm=26, written=FULL), (2000, 1500))[0] == 26  # made smaller


def test_mm_and_the_focal_planes_resolution():
    """25 mm on a sensor 17.3 x 13 mm wide (four thirds) is 50 mm, published by its maker."""
    focal, u = focal_of(
        Optics(focal_mm=25, px_per_mm=4608 / 17.3, written=(4608, 3456)), (1920, 1440)
    )
    assert focal == pytest.approx(50, rel=0.01)
    assert u < 0.25


@pytest.mark.parametrize(
    ("optics", "true"),
    [
        (Optics(focal_mm=4.71), 27),  # a phone, its sensor unknown
        (Optics(focal_mm=2.2), 13),
        (Optics(focal_mm=50), 75),
        (Optics(focal_mm=6.9, zoom=2.0), 52),
        (Optics(focal_35mm=24, zoom=2.0), 48),
        (Optics(focal_35mm=48, zoom=2.0), 48),
        (Optics(), 28),
        (Optics(), 50),
    ],
)
def test_less_is_known_with_less_certainty(optics, true):
    assert within(focal_of(optics, FULL), true)


def test_fields_that_are_no_numbers_are_passed_over(tmp_path):
    notes = Image.Exif()
    fields = notes.get_ifd(0x8769)
    fields[0x920A], fields[0xA20E], fields[0xA210] = 4.71, 6250.0, 3
    fields[0xA002], fields[0xA003], fields[0xA404] = 4000, 3000, 1.5
    Image.new("L", (1700, 1200), 99).save(tmp_path / "p.jpg", exif=notes)
    assert read_photo(tmp_path / "p.jpg").optics == Optics(None, 4.71, 625.0, 1.5, (4000, 3000))
    assert Optics.of_exif({0xA405: "many", 0x920A: b"\0"}) == Optics()


def test_a_shorter_lens_is_not_likelier_for_the_same_picture():
    """Distortion at the photo's corner counts, not the coefficients that grow smaller with f."""
    prior = LensPrior.of_photo(FULL, 26.0)
    still = np.eye(3), np.zeros(3)

    def cost(f, k1, k2):
        off = prior.residuals(Camera(*still, f, k1, k2, prior.cx, prior.cy))[0]
        return off[1:] @ off[1:]

    half = cost(prior.f / 2, 0.02 / 4, 0.01 / 16)
    assert half == pytest.approx(cost(prior.f, 0.02, 0.01))


def test_a_warped_lens_leads_there_and_back():
    rng = np.random.default_rng(5)
    warp = rng.normal(0, 2e-3, 17)
    turn = cv2.Rodrigues(np.array([0.15, -0.2, 0.4]))[0]
    camera = Camera(turn, np.array([5.0, -8, 420]), 3000.0, -0.05, 0.03, 2010, 1490, warp)
    points = rng.uniform(-190, 190, (50, 2))
    px = camera.project(np.column_stack([points, np.zeros(50)]))
    np.testing.assert_allclose(camera.to_plane(px), points, atol=1e-6)


def test_the_cameras_derivatives_are_its_differences():
    rng = np.random.default_rng(6)
    turn = cv2.Rodrigues(np.array([0.2, -0.3, 0.1]))[0]
    warp = rng.normal(0, 2e-3, 17)
    camera = Camera(turn, np.array([10.0, -20, 400]), 3000.0, -0.05, 0.03, 2000, 1500, warp)
    points = np.column_stack([rng.uniform(-200, 200, (20, 2)), rng.normal(0, 1, 20)])
    J, _ = camera.derivatives(points)
    for j in range(28):
        step = np.zeros(28)
        step[j] = 1e-4 if j in (3, 4, 5, 9, 10) else 1e-7
        there, back = (camera.moved(s * step).project(points) for s in (1, -1))
        np.testing.assert_allclose((there - back) / (2 * step[j]), J[:, :, j], rtol=1e-5, atol=1e-4)
