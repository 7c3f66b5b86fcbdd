"""The simulator: its projection, its print and its truth, held against OpenCV and arithmetic."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from fixtures.scene import (
    Block,
    Camera,
    Card,
    Mat,
    Scene,
    Sheet,
    ground,
    project,
    render,
    save,
    truth,
)

CAMERA = Camera(1200, 900, 900.0, k1=0.01, k2=-0.005, cx=603.0, cy=447.0, tilt_deg=9, turn_deg=12)
BLOCK = Block(((-130.0, -80.0), (-20.0, -82.0), (-22.0, 70.0), (-131.0, 72.0)))


@pytest.mark.parametrize("height", [0.0, 0.5, 3.0])
def test_projection_agrees_with_opencv(height: float) -> None:
    points = np.random.default_rng(1).uniform(-150, 150, (50, 2))
    world = np.column_stack([points, np.full(50, -height)])
    matrix = np.array([[900.0, 0, 603], [0, 900, 447], [0, 0, 1]])
    rotation = cv2.Rodrigues(CAMERA.rotation)[0]
    expected, _ = cv2.projectPoints(
        world, rotation, np.array([0, 0, 400.0]), matrix, np.array([0.01, -0.005, 0, 0])
    )
    assert np.abs(project(CAMERA, points, height) - expected.reshape(-1, 2)).max() < 1e-6


def test_tracing_back_undoes_the_projection() -> None:
    points = np.random.default_rng(2).uniform(-150, 150, (50, 2))
    assert np.abs(ground(CAMERA, project(CAMERA, points)) - points).max() < 1e-9


def test_the_world_is_upright_and_nearer_things_look_larger() -> None:
    camera = Camera(tilt_deg=0)
    assert np.allclose(project(camera, [[40, 20]]), [[799.5 + 120, 599.5 + 60]])
    assert np.allclose(project(camera, [[40, 20]], 100), [[799.5 + 160, 599.5 + 80]])


def test_focal_length_on_film() -> None:
    assert Camera(4000, 3000, 26 * 5000 / 43.27).focal_35mm == pytest.approx(26)


@pytest.mark.parametrize(
    ("thing", "first", "count"),
    [
        (Card("A", (40, 10), 8), 0, 16),
        (Card("C", (10, -20), -30, scale=0.97), 24, 16),
        (Sheet(centre_mm=(5, 0), turn_deg=85), 50, 48),
    ],
)
def test_print_is_detected_where_the_truth_says(thing: Card, first: int, count: int) -> None:
    sheet = isinstance(thing, Sheet)
    scene = Scene(CAMERA, cards=() if sheet else (thing,), sheet=thing if sheet else None)
    grey = cv2.cvtColor(render(scene), cv2.COLOR_RGB2GRAY)
    words = cv2.aruco.getPredefinedDictionary(
        cv2.aruco.DICT_4X4_100 if sheet else cv2.aruco.DICT_4X4_50
    )
    nx, ny = thing.squares
    ids = np.arange(first, first + nx * ny // 2)
    board = cv2.aruco.CharucoBoard(thing.squares, 1.0, 0.75, words, ids)
    corners, found, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    order = np.asarray(found).reshape(-1)
    assert len(order) == count
    points = np.array(corners, np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
    cv2.cornerSubPix(grey, points, (4, 4), (-1, -1), stop)
    expected = project(CAMERA, thing.saddles_mm, thing.height_mm)[order]
    errors = np.linalg.norm(points.reshape(-1, 2) - expected, axis=1)
    assert errors.max() < 0.1


def test_truth_of_a_straight_block_is_its_corners() -> None:
    block = truth(Scene(CAMERA, blocks=(BLOCK,)))["blocks"][0]
    c = BLOCK.corners_mm
    assert np.allclose(block["corners_world"], c, atol=1e-9)
    assert np.allclose(block["sides_mm"], [math.dist(c[i], c[(i + 1) % 4]) for i in range(4)])
    assert np.allclose(block["diagonals_mm"], [math.dist(c[0], c[2]), math.dist(c[1], c[3])])
    assert sum(block["angles_deg"]) == pytest.approx(360)
    assert np.allclose(block["bow_mm"], 0, atol=1e-9)
    assert np.allclose(block["corners_px"], project(CAMERA, c, 0.5), atol=1e-3)


def test_bow_moves_the_side_by_its_mean() -> None:
    # over the kept part, t = 0.04 to 0.96, 4 t (1 - t) has the mean 1 - 0.92² / 3
    block = Block(
        ((-50.0, -50.0), (50.0, -50.0), (50.0, 50.0), (-50.0, 50.0)), (0.0, 3.0, 0.0, 0.0)
    )
    entry = truth(Scene(CAMERA, blocks=(block,)))["blocks"][0]
    mean = 3 * (1 - 0.92**2 / 3)
    assert entry["width_mm"] == pytest.approx(100 + mean, abs=0.01)
    assert entry["height_mm"] == pytest.approx(100, abs=1e-6)
    assert entry["bow_mm"][1] == pytest.approx(mean - 3 * (1 - 0.92**2), abs=0.01)


def test_corners_are_named_as_the_photo_shows_them() -> None:
    turned = replace(CAMERA, turn_deg=90)
    entry = truth(Scene(turned, blocks=(BLOCK,)))["blocks"][0]
    (x0, y0), (x1, _), _, (_, y3) = entry["corners_px"]
    assert x1 > x0
    assert y3 > y0
    assert entry["width_mm"] > entry["height_mm"]


def test_raw_edge_is_rendered_where_the_truth_says() -> None:
    block = replace(BLOCK, cloth="solid", colours=((200, 200, 200),))
    scene = Scene(CAMERA, mat=Mat(lines_mm=None), blocks=(block,), light=0)
    photo = render(scene)[..., 0].astype(float) / 255
    linear = ((photo + 0.055) / 1.055) ** 2.4
    a, b = np.array(truth(scene)["blocks"][0]["corners_px"])[:2]
    column = round((a[0] + b[0]) / 2)
    row = a[1] + (column - a[0]) * (b[1] - a[1]) / (b[0] - a[0])
    first, last = round(row) - 12, round(row) + 12
    strip = linear[first : last + 1, column - 20 : column + 21].mean(axis=1)
    dark, bright = strip[:4].mean(), strip[-4:].mean()
    covered = ((strip - dark) / (bright - dark)).sum()
    assert abs(last + 0.5 - covered - row) < 0.1


def test_the_same_scene_gives_the_same_photo_and_exif(tmp_path: Path) -> None:
    scene = Scene(Camera(320, 240, 240.0), cards=(Card(),), blocks=(replace(BLOCK, threads=3),))
    assert np.array_equal(render(scene), render(scene))
    save(scene, tmp_path / "a.jpg")
    save(scene, tmp_path / "b.jpg", exif=False)
    with Image.open(tmp_path / "a.jpg") as photo:
        assert photo.getexif().get_ifd(0x8769)[0xA405] == round(scene.camera.focal_35mm)
        assert photo.getexif()[0x0110] == "Phone One"
    with Image.open(tmp_path / "b.jpg") as photo:
        assert not photo.getexif()
