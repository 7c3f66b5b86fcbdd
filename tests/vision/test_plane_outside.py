"""The plane against published data and other people's photos."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from blockcheck.vision.plane.adjust import adjust
from blockcheck.vision.plane.lens import Camera, LensPrior
from blockcheck.vision.plane.reference import Reference

OUTSIDE = Path(__file__).resolve().parents[3] / "shared" / "outside"


def test_projection_agrees_with_opencv():
    R, _ = cv2.Rodrigues(np.array([0.1, -0.2, 0.3]))
    camera = Camera(R, np.array([10.0, -20, 400]), 3000.0, -0.01, 0.004, 2010.0, 1490.0)
    points = np.column_stack([np.random.default_rng(1).uniform(-150, 150, (30, 2)), np.zeros(30)])
    K = np.array([[3000.0, 0, 2010], [0, 3000, 1490], [0, 0, 1]])
    theirs, _ = cv2.projectPoints(points, R, camera.t, K, np.array([-0.01, 0.004, 0, 0]))
    np.testing.assert_allclose(camera.project(points), theirs.reshape(-1, 2), atol=1e-8)
    np.testing.assert_allclose(camera.to_plane(camera.project(points)), points[:, :2], atol=1e-6)


def test_distortion_of_a_point_with_zhangs_published_k():
    """Zhang, MSR-TR-98-71: k1 -0.228601, k2 0.190353; x 0.3 becomes 0.2942903 (r2, r4 model)."""
    camera = Camera(np.eye(3), np.array([0, 0, 1.0]), 1.0, -0.228601, 0.190353, 0.0, 0.0)
    assert camera.project(np.array([[0.3, 0, 0]]))[0, 0] == pytest.approx(0.2942903, abs=1e-7)


@pytest.mark.skipif(
    not (OUTSIDE / "zhang1998").is_dir(), reason="published data not beside the project"
)
def test_zhangs_five_views_fit_with_the_published_lens():
    """Zhang's data: fx 832.5, k1 -0.2286, k2 0.1904, RMS 0.336 px per point over five views."""
    model = np.loadtxt(OUTSIDE / "zhang1998" / "Model.txt").reshape(-1, 2)
    squares = []
    prior = LensPrior(
        832.5, -0.2286, 0.1904, 303.96, 206.59, np.diag(np.square([0.002, 0.002, 0.02, 1.0, 1.0]))
    )
    for view in range(1, 6):
        px = np.loadtxt(OUTSIDE / "zhang1998" / f"data{view}.txt").reshape(-1, 2)
        flipped = model * (25.4, -25.4)  # their y runs up
        ref = Reference("sheet", "sheet", flipped, px, None, 0.3, 1e-6)
        from blockcheck.vision.plane.lens import pose_from_points

        plane = adjust([ref], prior, pose_from_points(prior, flipped, px))
        squares.append(2 * plane.fit_rms_px**2)  # of both coordinates
    assert np.sqrt(np.mean(squares)) == pytest.approx(0.336, abs=0.06)


def test_reported_covariance_holds_in_repeated_trials():
    """Seeded Monte Carlo (JCGM 101): lengths from noisy points fall inside U95 as promised."""
    rng = np.random.default_rng(7)
    size = (2400, 1800)
    grid = np.stack(np.meshgrid(np.arange(7) * 25.4, np.arange(9) * 25.4), axis=-1).reshape(-1, 2)
    inside, n = 0, 60
    for _ in range(n):
        prior = LensPrior.of_photo(size, 26.0)
        turn, _ = cv2.Rodrigues(rng.normal(0, 0.08, 3))
        centre_u = np.sqrt(prior.covariance[3, 3])
        true = Camera(
            turn,
            np.array([-80.0, -100, 420]) + rng.normal(0, 10, 3),
            prior.f * np.exp(rng.normal(0, 0.03)),
            rng.normal(0, 0.012),
            rng.normal(0, 0.005),
            prior.cx + rng.normal(0, centre_u),
            prior.cy + rng.normal(0, centre_u),
        )
        scale = np.exp(rng.normal(0, 0.001))
        X = np.column_stack([grid * scale, np.zeros(len(grid))])
        px = true.project(X) + rng.normal(0, 0.1, (len(grid), 2))
        ref = Reference("sheet", "sheet", grid, px, None, 0.1, 0.001)
        start = prior.camera(true.R, true.t)
        plane = adjust([ref], prior, start)
        ends = true.project(np.array([[-100.0, 0, 0], [250.0, 200, 0]]))
        e = plane.length(*ends)
        inside += abs(e.value - np.hypot(350, 200)) <= e.u95
    # 60 trials at 95 %: fewer than 51 has a chance below 0.2 %; all 60 about 5 %
    assert inside >= 51
