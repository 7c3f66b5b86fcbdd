"""Whole photos of made scenes in which something lies ready to be taken for something else."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import blockcheck
from blockcheck.settings import Settings
from blockcheck.vision import finding as plane_module
from blockcheck.vision.finding import plane_of, warnings_of
from blockcheck.vision.photo import read_photo
from blockcheck.vision.plane.adjust import adjust, first_camera
from blockcheck.vision.plane.lens import N_CAMERA, LensPrior
from blockcheck.vision.plane.lens import Camera as Lens
from blockcheck.vision.plane.reference import Reference
from blockcheck.vision.references import mat_lines as grid
from blockcheck.vision.references import square as plain_square
from fixtures.make import quad
from fixtures.scene import Block, Camera, Card, Mat, Scene, Square, save, truth
from fixtures.surroundings import shadow

INCH = 25.4
SQUARE_CORNERS = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
EVEN = np.linspace(0, 1, 200, endpoint=False)
PHONE = Camera(width=2000, height=1500, f_px=1450, tilt_deg=4.0, distance_mm=360)
CARD = Card("A", (110, -40), 8)


def measured(scene, tmp_path, **settings):
    """Measure the scene's photo and pair what is found with the truth, both as width and height."""
    save(scene, tmp_path / "p.jpg")
    result = blockcheck.measure_photo(tmp_path / "p.jpg", **settings)
    assert result.ok, result.problems
    (block,), (true,) = result.blocks, truth(scene)["blocks"]
    return [(block.width_mm, true["width_mm"]), (block.height_mm, true["height_mm"])]


def holds(pairs):
    return all(abs(found.value - true) < found.u95 for found, true in pairs)


@pytest.mark.parametrize("gap", [0.3, 0.8, 1.5])
def test_a_printed_line_beside_an_edge_is_not_followed(gap, tmp_path):
    """The left edge runs along a line of the mat, `gap` mm from it."""
    left = -5 * INCH + gap
    block = Block(quad(150, 190, (left + 75, 0)), cloth="dots")
    scene = Scene(PHONE, Mat(line_width_mm=0.7), (CARD,), (block,), seed=4)
    assert holds(measured(scene, tmp_path, card_side="4in"))


def test_cloth_of_the_mats_colour_is_found_by_the_lines_it_hides(tmp_path):
    mat = Mat(colour=(205, 205, 200), line_colour=(110, 112, 116))
    block = Block(quad(152, 203, (-55, 0), 6), cloth="solid", colours=((236, 236, 233),))
    assert holds(measured(Scene(PHONE, mat, (CARD,), (block,), seed=5), tmp_path, card_side="4in"))


def test_the_outermost_row_of_a_pale_gingham_is_not_left_out(tmp_path):
    mat = Mat(colour=(205, 205, 200), line_colour=(110, 112, 116))
    block = Block(
        quad(150, 190, (-55, 0), 4), cloth="gingham", colours=((235, 232, 226), (60, 90, 80))
    )
    pairs = measured(Scene(PHONE, mat, (CARD,), (block,), seed=6), tmp_path, card_side="4in")
    assert all(abs(found.value - true) < INCH / 8 for found, true in pairs)


@pytest.mark.parametrize("cloth", ["stripe", "gingham", "solid"])
def test_lines_alone_keep_their_spacing_with_dashes_halfway(cloth, tmp_path):
    """Neither dashes at half an inch nor the cloth's stripes pass for the lines an inch apart."""
    block = Block(quad(150, 190, (0, 0), 7), cloth=cloth)
    scene = Scene(PHONE, Mat(dashes=True), (), (block,), seed=7)
    assert holds(measured(scene, tmp_path, grid="1in"))


def test_lines_a_centimetre_apart_are_found_around_a_paper_square(tmp_path):
    block = Block(quad(150, 190, (-60, 0), 4))
    square = Square((90, 0), 12, 76.2)
    scene = Scene(PHONE, Mat(lines_mm=10.0), (), (block,), None, square, seed=8)
    save(scene, tmp_path / "p.jpg")
    plane = blockcheck.find_plane(tmp_path / "p.jpg", square="3in")
    assert {p.name for p in plane.references} == {"square", "mat lines"}


def test_a_plain_block_that_is_nearly_square_is_not_the_square(tmp_path, monkeypatch):
    """Without mat lines only the fit tells which of two plain patches is the paper square."""
    found = plain_square.find_squares
    monkeypatch.setattr(plane_module, "find_squares", lambda *given: found(*given)[::-1])
    block = Block(quad(102, 104, (-60, 0), 3), cloth="solid", colours=((190, 150, 240),))
    square = Square((70, 10), 15, 76.2)
    scene = Scene(PHONE, Mat((90, 90, 88), lines_mm=None), (), (block,), None, square, seed=10)
    assert holds(measured(scene, tmp_path, square="3in"))


def test_a_squares_corners_settle_from_one_far_off():
    """A simplified outline may end a side far from the corner."""
    turn = np.radians(17.0)
    true = 200 * (SQUARE_CORNERS @ [[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    sides = [a + t * (b - a) for a, b in zip(true, np.roll(true, -1, 0), strict=True) for t in EVEN]
    first = true + np.array([[0, 0], [12, 28], [0, 0], [-3, 2]])
    found = plain_square._settled(first, np.rint(np.array(sides)))
    assert np.abs(found - true).max() < 0.6


def test_a_square_serves_beside_a_card_and_a_wrong_size_is_told(tmp_path):
    square = Square((110, 75), 10, 76.2, (200, 80, 90))
    scene = Scene(
        PHONE, Mat(), (CARD,), (Block(quad(150, 190, (-60, 0), 3)),), None, square, seed=9
    )
    save(scene, tmp_path / "p.jpg")
    plane = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in", square="3in")
    assert {p.name for p in plane.references} == {"card A", "square", "mat lines"}
    wrong = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in", square="3.05in")
    assert [p.code for p in wrong.problems] == ["references_disagree"]
    assert wrong.problems[0].message.startswith("The square is 1.")


def test_lines_that_were_named_and_are_not_there_are_told(tmp_path):
    scene = Scene(PHONE, Mat(), (CARD,), (Block(quad(150, 190, (-60, 0), 3)),), seed=9)
    save(scene, tmp_path / "p.jpg")
    plane = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in", grid="3in")
    assert "reference_not_found" in {p.code for p in plane.problems}


def test_two_cards_with_the_block_between_them_still_use_the_mats_lines(tmp_path):
    cards = (replace(CARD, centre_mm=(125, -40)), Card("C", (-125, 40), -6))
    scene = Scene(
        replace(PHONE, distance_mm=400), Mat(), cards, (Block(quad(110, 190, (0, 0), 4)),), seed=10
    )
    save(scene, tmp_path / "p.jpg")
    plane = blockcheck.find_plane(tmp_path / "p.jpg", card_side="4in")
    assert "mat lines" in {p.name for p in plane.references}


def test_a_ruler_beside_is_no_block(tmp_path):
    ruler = Block(quad(300, 38, (0, -115), 2), cloth="solid", colours=((222, 200, 120),))
    block = Block(quad(150, 150, (-50, 10), 5))
    scene = Scene(PHONE, Mat(), (replace(CARD, centre_mm=(110, 30)),), (block, ruler), seed=11)
    save(scene, tmp_path / "p.jpg")
    (found,) = blockcheck.measure_photo(tmp_path / "p.jpg", card_side="4in").blocks
    assert abs(found.width_mm.value - 150) < found.width_mm.u95


def test_a_patch_of_sun_is_no_block(tmp_path):
    """On a plain mat, where no lines are seen in it: its border is soft."""
    sun = shadow(quad(90, 130, (125, 60), 7), left=2.0, soft_mm=8)
    block = Block(quad(140, 200, (-70, 0), 2))
    plain = Mat(lines_mm=None, colour=(100, 112, 108))
    scene = Scene(PHONE, plain, (CARD,), (block,), seed=6, over=(sun,))
    assert holds(measured(scene, tmp_path, card_side="4in"))
    save(replace(scene, blocks=()), tmp_path / "q.jpg")
    refused = blockcheck.measure_photo(tmp_path / "q.jpg", card_side="4in")
    assert [p.code for p in refused.problems if p.level == "error"] == ["edge_not_found"]
    assert "light" in refused.problems[-1].message


def test_steps_about_a_point_leave_it_where_it_is_seen():
    """The adjustment's steps: derivative against differences, and the point held."""
    rng = np.random.default_rng(2)
    turn = np.linalg.qr(np.eye(3) + 0.1 * rng.normal(size=(3, 3)))[0]
    lens = Lens(
        turn * np.sign(np.diag(turn)), np.array([10.0, -20, 400]), 3000, -0.01, 0.002, 2000, 1500
    )
    point = np.array([30.0, 50.0, 0.0])
    T = lens.steps_about(point)
    for j in range(N_CAMERA):
        step = np.zeros(N_CAMERA)
        step[j] = 1e-3 if j in (3, 4, 9, 10) else 1e-6
        there, back = (lens.moved_about(s * step, point).t for s in (1, -1))
        np.testing.assert_allclose((there - back) / (2 * step[j]), T[3:6, j], rtol=1e-4, atol=1e-6)
        if j not in (3, 4):
            moved = lens.moved_about(1000 * step, point)
            np.testing.assert_allclose(
                moved.project(point[None]), lens.project(point[None]), atol=1e-6
            )


def test_a_bowed_card_is_told():
    """A card whose middle stands 4 mm high: its points do not fit a flat one."""
    lens = LensPrior.of_photo((4000, 3000), 26.0)
    x, y = np.meshgrid(np.arange(1, 5) * 20.32, np.arange(1, 5) * 20.32)
    own = np.column_stack([x.ravel(), y.ravel()])
    camera = lens.camera(np.eye(3), np.array([60.0, 20.0, 330.0]))
    for middle, told in ((0.0, False), (4.0, True)):
        high = 0.2 + middle * (1 - ((own[:, 0] - 50.8) / 50.8) ** 2)
        seen = camera.project(np.column_stack([own, -high]))
        card = Reference("card A", "card", own, seen, None, 0.06, 0.001, 0.2, 0.1)
        plane = adjust([card], lens, first_camera(lens, card))
        assert ("not_flat" in {p.code for p in warnings_of(plane, Settings())}) == told


@pytest.mark.parametrize(("along", "holds"), [((0, 0), True), ((1, 0), False), ((0, 1), False)])
def test_a_lattice_seen_one_way_only_is_not_the_mats(along, holds):
    """Lines the other way, off by a third of a cell, would be taken for the edges of cloth."""
    photo = read_photo(Path(blockcheck.__file__).parent / "demo_photos" / "sailboat-1.jpg")
    plane = plane_of(photo, Settings.of(card_side="4in"))
    spacing = 25.4
    affine = plane.references[-1].affine * np.array([spacing, spacing, 1])
    affine[:, 2] += affine[:, :2] @ (0.33 * np.array(along))
    hidden = [p.outline_px for p in plane.references if p.outline_px is not None]
    found = [
        grid._finish(photo.gray, plane, affine, spacing, s, photo.size, hidden) for s in (1, -1)
    ]
    assert any(found) is holds


@pytest.mark.parametrize("off", [(0.02, 0), (0, -0.03), (0.05, 0.05)])
def test_lines_that_all_lie_off_one_way_are_pulled_in(off):
    """A first lattice that is a millimetre off both ways, or one way only, is no outlier."""
    photo = read_photo(Path(blockcheck.__file__).parent / "demo_photos" / "sailboat-1.jpg")
    plane = plane_of(photo, Settings.of(card_side="4in"))
    card, lines = plane.references
    prior = LensPrior.of_photo(photo.size, photo.focal_35mm)
    first = adjust([card.reference], prior, plane.camera)
    spacing = 25.4
    affine = lines.affine * np.array([spacing, spacing, 1])
    affine[:, 2] += affine[:, :2] @ np.array(off)
    grown = grid._Grown(first.camera, [np.eye(2, 3)], affine)
    found = grid._follow(
        photo.gray,
        [card.reference],
        prior,
        grown,
        spacing,
        first.px_from_mm(np.zeros(2)),
        [card.outline_px],
    )
    assert found is not None
    moved = found[0].references[-1].affine - lines.affine
    assert np.abs(moved[:, 2]).max() < 0.02
