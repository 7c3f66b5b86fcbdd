"""Parts of the measurement against published data, formulas and elementary geometry."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import cv2
import numpy as np
import pytest

from blockcheck.measuring import sides
from blockcheck.vision.plane.adjust import adjust, first_camera
from blockcheck.vision.plane.lens import Camera, LensPrior
from blockcheck.vision.plane.reference import Reference
from blockcheck.vision.references.card import Board, find_markers, refine_board

OUTSIDE = Path(__file__).resolve().parents[3] / "shared" / "outside"
INCH = 25.4


# --- the board -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def charuco():
    """Return OpenCV's photo samples/data/choriginal.jpg and what the card's code finds in it."""
    photo = OUTSIDE / "opencv_charuco" / "choriginal.jpg"
    if not photo.is_file():
        pytest.skip("OpenCV's photo is not beside the project")
    board = Board("board", "sheet", 5, 7, 0, 17, marker=0.5, family=cv2.aruco.DICT_6X6_250)
    gray = cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE)
    corners, ids = find_markers(gray, board.family)
    return corners, ids, refine_board(gray, board, 40.0, corners, ids, 0.001)


def test_a_real_board_gives_all_its_markers_where_opencv_says(charuco):
    """opencv_contrib, test_charucodetection / tutorial: id 0 within ±1 px of these corners."""
    corners, ids, _ = charuco
    assert sorted(ids) == list(range(17))
    published = [[268, 77], [290, 80], [286, 97], [263, 94]]
    assert np.abs(corners[list(ids).index(0)] - published).max() <= 1


def test_saddle_points_of_a_real_board_lie_on_one_homography(charuco):
    """24 inner corners; one homography leaves about 0.15 px (OpenCV's own refinement: 0.154)."""
    _, _, reference = charuco
    assert len(reference.points_px) == 24
    H, _ = cv2.findHomography(reference.points_mm, reference.points_px, 0)
    left = cv2.perspectiveTransform(reference.points_mm[None], H)[0] - reference.points_px
    assert np.sqrt(np.mean(left**2)) == pytest.approx(0.15, abs=0.02)
    # the camera, with the lens nearly straight, fits as well
    prior = LensPrior.of_photo((640, 480), 26.0, 0.15)
    assert adjust([reference], prior, first_camera(prior, reference)).fit_rms_px < 0.17


# --- the adjustment's covariance -------------------------------------------------------------


def _length_u(points, seen, ends, sigma):
    """Criminisi, Reid, Zisserman, BMVC 1997: first-order u of a length through a homography."""

    def length(at):
        H, _ = cv2.findHomography(at.reshape(-1, 2), points, 0)
        a, b = cv2.perspectiveTransform(ends[None], H)[0]
        return np.linalg.norm(b - a)

    flat = seen.ravel()
    steps = np.eye(len(flat)) * 0.05  # OpenCV keeps the points as float32
    gradient = [(length(flat + d) - length(flat - d)) / 0.1 for d in steps]
    return sigma * np.linalg.norm(gradient)


def test_four_corners_of_a_card_cannot_carry_a_long_side():
    """Criminisi's formula and Monte Carlo agree on 0.0985 in for 17 in: why this is no homography.

    Card 0 to 4 in at 50 px/in, sigma 0.1 px, exact points (5, 0) and (22, 0); SOURCES.md has the
    value. It is OpenCV's homography here: the project's camera has fewer freedoms, see below.
    """
    card = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])
    seen, ends = 50 * card, 50 * np.array([[5.0, 0], [22, 0]])
    formula = _length_u(card, seen, ends, 0.1)
    assert formula == pytest.approx(0.0985, abs=2e-4)
    shorter = 50 * np.array([[5.0, 0], [14, 0]])  # a side of 9 in, as docs/uncertainty.md has it
    assert _length_u(card, seen, shorter, 0.1) == pytest.approx(0.0343, abs=2e-4)
    rng = np.random.default_rng(1997)
    found = []
    for _ in range(3000):
        H, _ = cv2.findHomography(seen + rng.normal(0, 0.1, (4, 2)), card, 0)
        a, b = cv2.perspectiveTransform(ends[None], H)[0]
        found.append(np.linalg.norm(b - a))
    assert np.std(found) == pytest.approx(formula, rel=4 / np.sqrt(2 * 3000))


SADDLES = np.stack(np.meshgrid(np.arange(1, 5), np.arange(1, 5)), -1).reshape(-1, 2) * 0.8 * INCH
PRIOR = LensPrior.of_photo((4000, 3000), 3000 * np.hypot(36, 24) / 5000)
TURN = cv2.Rodrigues(np.array([0.08, -0.05, 0.02]))[0]
CAMERA = Camera(TURN, np.array([60.0, -40, 420]), 3000.0, 0.0, 0.0, 1999.5, 1499.5)


def _seen_by(camera, points, sigma, rng):
    px = camera.project(np.column_stack([points, np.zeros(len(points))]))
    return px + rng.normal(0, sigma, px.shape) if sigma else px


def test_the_adjustments_covariance_is_what_repeated_noise_gives():
    """J Σ Jᵀ (JCGM 101's check by Monte Carlo): u of a length is the spread over noisy cards."""
    rng = np.random.default_rng(101)
    known = replace(PRIOR, covariance=1e-12 * PRIOR.covariance, warp_sigma=1e-6 * PRIOR.warp_sigma)
    ends = CAMERA.project(np.array([[-130.0, 50, 0], [-130, -380, 0]]))  # a 17 in side beside it
    found, said = [], []
    for _ in range(400):
        seen = _seen_by(CAMERA, SADDLES, 0.1, rng)
        card = Reference("card A", "card", SADDLES, seen, None, 0.1, 1e-9)
        length = adjust([card], known, CAMERA, rounds=1).length(*ends)
        found.append(length.value)
        said.append(length.u)
    assert np.mean(found) == pytest.approx(430, abs=4 * np.std(found) / 20)
    assert np.median(said) == pytest.approx(np.std(found), rel=4 / np.sqrt(2 * 400))


def test_misfit_is_smaller_than_the_noise_by_what_the_fit_takes():
    """Hartley & Zisserman, Result 5.2: RMS = sigma √(1 - d / N); 24 points, d 8: 0.9129."""
    rng = np.random.default_rng(52)
    points = np.stack(np.meshgrid(np.arange(4), np.arange(6)), -1).reshape(-1, 2) * 30.0
    by_homography, by_camera = [], []
    for _ in range(150):
        seen = _seen_by(CAMERA, points, 0.1, rng)
        H, _ = cv2.findHomography(points, seen, 0)
        left = cv2.perspectiveTransform(points[None], H)[0] - seen
        by_homography.append(np.mean(left**2))
        sheet = Reference("sheet", "sheet", points, seen, None, 0.1, 1e-6)
        by_camera.append(adjust([sheet], PRIOR, CAMERA, rounds=1).fit_rms_px ** 2)
    error = 4 * 0.1 / np.sqrt(2 * 48 * 150)  # four standard errors of an RMS from that many
    assert np.sqrt(np.mean(by_homography)) == pytest.approx(0.1 * 0.9129, abs=error)
    # the camera's pose takes 6, its lens at most 5 more
    low, high = 0.1 * np.sqrt(1 - 11 / 48) - error, 0.1 * np.sqrt(1 - 6 / 48) + error
    assert low < np.sqrt(np.mean(by_camera)) < high


# --- sides, corners, bow ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def norris():
    """NIST StRD Norris (linear least squares), as SciPy ships it: x and y, 36 observations."""
    data = files("scipy.stats.tests.data") / "nist_linregress" / "Norris.dat"
    if not data.is_file():
        pytest.skip("SciPy was installed without its tests' data")
    y, x = np.loadtxt(data.read_text().splitlines()[60:]).T
    return x, y


B0, B1, S = -0.262323073774029, 1.00211681802045, 0.884796396144373
S_B0, S_B1 = 0.232818234301152, 0.429796848199937e-3


def _coefficients(point, along):
    slope = along[1] / along[0]
    return point[1] - slope * point[0], slope


def test_a_side_is_fitted_as_nist_certifies(norris):
    """Distances across the line become distances in y when y is drawn very flat.

    With all weights 1 the fit is total least squares; scaling y by 1e-5 takes what tells it
    from ordinary least squares below the tenth digit, so the certified values must come out.
    """
    x, y = norris
    flat = 1e-5
    line = sides.straight_line(np.column_stack([x, flat * y]), np.array([1.0, flat]), np.inf)
    b0, b1 = np.array(_coefficients(*line[:2])) / flat
    assert b0 == pytest.approx(B0, rel=1e-10)
    assert b1 == pytest.approx(B1, rel=1e-12)
    assert np.sqrt(np.sum(line[2] ** 2) / 34) / flat == pytest.approx(S, rel=1e-8)


def test_robust_weights_hardly_move_a_line_without_outliers(norris):
    """As sides are fitted: weights, and distances across; a fifth of a certified sigma at most."""
    x, y = norris
    point, along, _, weight = sides.straight_line(np.column_stack([x, y]), np.array([1.0, 1]))
    b0, b1 = _coefficients(point, along)
    assert abs(b0 - B0) < S_B0 / 5
    assert abs(b1 - B1) < S_B1 / 5
    assert weight.min() > 0.5


def test_a_thread_does_not_pull_a_side(norris):
    x, y = norris
    pulled = y + np.where(np.arange(len(y)) % 12 == 0, 40 * S, 0)  # three of 36
    point, along, _, _ = sides.straight_line(np.column_stack([x, pulled]), np.array([1.0, 1]))
    b0, b1 = _coefficients(point, along)
    plain = np.polynomial.Polynomial.fit(x, pulled, 1).convert().coef
    assert abs(b0 + 500 * b1 - (B0 + 500 * B1)) < S
    assert abs(plain[0] + 500 * plain[1] - (B0 + 500 * B1)) > 2 * S


def test_racking_turns_the_corners_as_the_law_of_cosines_says():
    """6 x 17 in, diagonals differ by 1/8 in: 0.633 degrees, 0.0663 in over 6 in."""
    corners = np.array([[0.0, 0], [6, 0], [6, 17], [0, 17]]) * INCH
    corners[:, 1] += 0.0663 / 6 * corners[:, 0]
    quantities = sides._quantities(corners)
    diagonals, angles = quantities[6:8], quantities[8:]
    assert abs(diagonals[0] - diagonals[1]) == pytest.approx(INCH / 8, rel=2e-3)
    assert np.abs(angles - 90) == pytest.approx([0.633] * 4, abs=1e-3)


def test_bow_is_straightness_about_the_least_squares_line():
    """ISO 12780-1 names the definitions; y = (1/16)(x / 8.5)³ over ±8.5 in is algebra.

    About the least-squares line of a part ±h the cubic departs by 2/5 of its end value. The
    outermost 4 % at each end are left out, so h is 0.92 of 8.5.
    """
    x = np.linspace(-8.5, 8.5, 401)
    edge = np.column_stack([x, (x / 8.5) ** 3 / 16]) * INCH
    side = sides.Side(points_px=edge, support=1.0, sigma_px=0.1)
    line = sides._fit(edge, edge[0], edge[-1], side, 10.0)
    assert sides._bow(line, sides._curve(line)).value / INCH == pytest.approx(
        0.4 * 0.92**3 / 16, rel=0.03
    )
