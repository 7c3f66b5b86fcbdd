"""A print that is not the size it was named is told, and does not make the block wrong.

The job's largest error of all is a printer that scales the page to fit; every check here is
against the scene's own exact truth.
"""

import re
from dataclasses import replace

import numpy as np
import pytest
from test_coverage import CARD, LEFT, PRIOR, RIGHT, World

import blockcheck
from blockcheck.errors import NoReferenceError, ReferencesDisagreeError
from blockcheck.vision.plane.adjust import adjust, first_camera
from blockcheck.vision.plane.agreement import agree_among, agree_with_lines, loosened
from blockcheck.vision.plane.reference import MatLines
from fixtures.make import quad
from fixtures.scene import Block, Camera, Card, Mat, Scene, Sheet, save, truth

PHONE = Camera(width=2000, height=1500, f_px=1450, tilt_deg=5.0, distance_mm=380)
BLOCK = Block(quad(150, 190, (-70, 0), 3))


def photo_of(path, mat_mm=25.4, scale=1.0, letters="A", sheet=None):
    places = {"A": (105, -40), "B": (105, 75)}
    cards = tuple(Card(c, places[c], 8, scale=scale) for c in letters)
    scene = Scene(PHONE, Mat(lines_mm=mat_mm), cards, (BLOCK,), sheet, seed=16)
    save(scene, path)
    return truth(scene)["blocks"][0]


@pytest.fixture(scope="module", params=[25.4, 10.0], ids=["1 in", "1 cm"])
def right_card(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("agree") / "p.jpg"
    return path, photo_of(path, request.param)


def departures(plane, block):
    """Errors of the six distances of the true corners, in units of U95."""
    corners = np.array(block["corners_px"])
    pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)]
    known = [*block["sides_mm"], *block["diagonals_mm"]]
    found = [plane.length(corners[i], corners[j], BLOCK.height_mm) for i, j in pairs]
    return np.array([(e.value - true) / e.u95 for e, true in zip(found, known, strict=True)])


def told(plane):
    return [p.message for p in plane.problems if p.code == "references_disagree"]


@pytest.mark.parametrize("per_cent", [94, 95.7, 97, 98.4, 99.5, 100.5, 102, 104.3, 106])
def test_a_wrong_card_side_beside_lines_is_told_and_the_lines_lead(right_card, per_cent):
    path, block = right_card
    plane = blockcheck.find_plane(path, card_side=101.6 * per_cent / 100)
    assert {p.reference.kind for p in plane.references} == {"card", "grid"}
    (message,) = told(plane)
    by = abs(100 * (100 / per_cent - 1))
    stated = float(message.split(" is ")[1].split(" %")[0])
    assert stated == pytest.approx(by, abs=0.16)
    assert ("larger" if per_cent < 100 else "smaller") in message
    assert np.abs(departures(plane, block)).max() <= 1


@pytest.mark.parametrize("per_cent", [99.8, 100, 100.2])
def test_a_right_card_side_is_left_in_peace(right_card, per_cent):
    path, block = right_card
    plane = blockcheck.find_plane(path, card_side=101.6 * per_cent / 100)
    assert told(plane) == []
    assert np.abs(departures(plane, block)).max() <= 1


def test_two_cards_of_one_shrinking_printer_are_both_told(tmp_path):
    block = photo_of(tmp_path / "p.jpg", scale=0.97, letters="AB")
    plane = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in")
    assert [m.split(":")[0] for m in told(plane)] == [
        f"Card {c} is 3.0 % smaller than the mat's lines say" for c in "AB"
    ]
    assert "printed at 97.0 %" in told(plane)[0]
    assert np.abs(departures(plane, block)).max() <= 1


def test_a_shrunken_sheet_is_told(tmp_path):
    block = photo_of(tmp_path / "p.jpg", letters="", sheet=Sheet("A", (115, 0), 90, scale=0.96))
    plane = blockcheck.find_plane(tmp_path / "p.jpg", sheet_side="9in")
    (message,) = told(plane)
    assert message.startswith("The sheet is 4.0 % smaller")
    assert "--sheet-side" in message
    assert np.abs(departures(plane, block)).max() <= 1


class Printed(World):
    """A world whose printer scales each card across and along as it likes."""

    def card(self, name, centre, across=1.0, along=1.0):
        own = self.board("card", CARD * (across, along), centre)
        whole = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) * 101.6
        return replace(own, points_mm=CARD, name=name, outline_mm=whole)


def with_lines(card, mat):
    """Fit both with the card's size in question, the lines placed as the card's plane shows them."""
    camera = first_camera(PRIOR, card)
    seen = camera.to_plane(mat.points_px)
    own = np.column_stack([mat.points_mm, np.ones(len(seen))])
    place = np.linalg.lstsq(own, seen, rcond=None)[0].T
    return adjust([loosened(card), mat], PRIOR, camera, [np.eye(2, 3), place])


def seen_all_over(card, mat):
    """The mat's pieces of line as the photo would show them: none under the card, all around it."""
    beside = mat.points_px[np.linalg.norm(mat.points_px - card.points_px.mean(0), axis=1) > 9]
    return MatLines(mat, np.stack([beside, beside], axis=1), np.ones(len(beside), bool))


@pytest.mark.parametrize(("across", "along"), [(0.97, 1.0), (1.0, 1.02), (0.96, 0.99)])
def test_a_print_scaled_unequally_is_told_for_both_ways(across, along):
    off = []
    for seed in range(12):
        world = Printed(np.random.default_rng([16, seed]))
        card, mat = world.card("card A", LEFT, across, along), world.mat()
        free = with_lines(card, mat)
        plane, (problem,) = agree_with_lines(free, seen_all_over(card, mat), [card], PRIOR)
        assert problem.code == "references_disagree"
        assert "across and" in problem.message
        true, estimate = world.length(plane)
        off.append((estimate.value - true) / estimate.u95)
    assert np.sum(np.abs(off) <= 1) >= 10  # of twelve: fewer once in 700 times at 95 %


def test_a_card_against_two_others_is_left_out():
    off = []
    for seed in range(12):
        world = Printed(np.random.default_rng([17, seed]))
        places = {"card A": LEFT, "card B": RIGHT, "card C": np.array([0.0, 120])}
        sizes = {"card A": 0.96, "card B": 1.0, "card C": 1.0}
        cards = [world.card(n, at, sizes[n], sizes[n]) for n, at in places.items()]
        plane = adjust(cards, PRIOR, first_camera(PRIOR, cards[0]))
        plane, (problem,) = agree_among(plane, PRIOR)
        assert re.match(r"Card A is [34]\.\d % smaller", problem.message)
        true, estimate = world.length(plane)
        off.append((estimate.value - true) / estimate.u95)
    assert np.sum(np.abs(off) <= 1) >= 10, off


def test_of_two_cards_nobody_can_tell():
    world = Printed(np.random.default_rng(4))
    near = np.array([-150.0, 60])
    cards = [world.card("card A", LEFT), world.card("card B", near, 0.95, 0.95)]
    with pytest.raises(ReferencesDisagreeError, match="cannot tell which"):
        agree_among(adjust(cards, PRIOR, first_camera(PRIOR, cards[0])), PRIOR)


def test_a_few_lines_beside_a_card_do_not_lead():
    world = Printed(np.random.default_rng(5))
    card, mat = world.card("card A", LEFT, 0.97, 0.97), world.mat()
    beside = np.linalg.norm(mat.points_px - card.points_px.mean(0), axis=1)
    few = beside < np.sort(beside)[12]
    mat = replace(
        mat,
        points_mm=mat.points_mm[few],
        points_px=mat.points_px[few],
        normals_px=mat.normals_px[few],
    )
    free = with_lines(card, mat)
    with pytest.raises(ReferencesDisagreeError, match="too few"):
        agree_with_lines(free, seen_all_over(card, mat), [card], PRIOR)


def test_half_inch_lines_tell_a_misprint_as_well(tmp_path):
    block = photo_of(tmp_path / "p.jpg", mat_mm=12.7, scale=0.97)
    plane = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in")
    assert told(plane)[0].startswith("Card A is 3.0 % smaller")
    assert np.abs(departures(plane, block)).max() <= 1


def test_a_mat_without_a_card_is_told_and_its_spacing_asked_for(tmp_path):
    photo_of(tmp_path / "p.jpg", letters="")
    with pytest.raises(NoReferenceError, match="but a mat with lines") as raised:
        blockcheck.find_plane(tmp_path / "p.jpg")
    assert "--grid 1in or --grid 1cm" in raised.value.hint


@pytest.fixture(scope="module", params=[1.0, 0.97], ids=["right card", "card at 97 %"])
def leaning(request, tmp_path_factory):
    """A photo of card and lines that leans enough for them to show the lens."""
    path = tmp_path_factory.mktemp("leaning") / "p.jpg"
    camera = replace(PHONE, tilt_deg=10.0, azimuth_deg=70.0)
    scene = Scene(
        camera, Mat(), (Card("A", (105, -40), 8, scale=request.param),), (BLOCK,), seed=17
    )
    save(scene, path, exif=False)
    return path, truth(scene)["blocks"][0], camera.focal_35mm, request.param


@pytest.mark.parametrize("factor", [0.5, 0.75, 1.0, 1.4, 2.0])
def test_a_wrong_focal_length_is_not_laid_on_the_references(leaning, factor):
    """It makes a wrong tilt, and that squares longer than wide; the lines show which it is."""
    path, block, focal, scale = leaning
    plane = blockcheck.find_plane(path, card_side="4in", focal=focal * factor)
    codes = {p.code for p in plane.problems}
    assert ("focal_doubtful" in codes) == (factor != 1.0)
    assert ("references_disagree" in codes) == (scale != 1.0)
    if scale != 1.0:
        assert float(told(plane)[0].split(" is ")[1].split(" %")[0]) == pytest.approx(3, abs=0.2)
    assert np.abs(departures(plane, block)).max() < 1
