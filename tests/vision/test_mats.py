"""The mat's lines alone, on other people's photos of a cutting mat with lines every 10 mm.

Photos: github.com/marksard/Keyboards (MIT), kept beside the project and not in it.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

import blockcheck
from blockcheck.errors import NoReferenceError, TiltedError

MATS = Path(__file__).resolve().parents[3] / "shared" / "outside" / "mats"
pytestmark = pytest.mark.skipif(
    not MATS.is_dir(), reason="the mat photos are not beside the project"
)

LINE_MM = 0.6  # a printed line's width, read off the photos; every fifth is heavier
# Crossings read off the photos by eye, then cornerSubPix: column and row counted along the
# printed lines from the first crossing of each group, then the pixel.
READ = {
    "left_switch": [
        "0 0 115.2 109.3; 18 16 1754.9 1122.1; 5 15 556.2 1169.2; 15 2 1273.2 122.6; "
        "7 4 667.7 308.0; 12 14 1185.2 1014.0; 21 6 1797.9 335.1; 0 13 96.1 1042.4; "
        "11 4 985.8 277.4",
    ],
    "mat_led_tape": [
        "0 0 169.9 208.7; 10 6 1739.8 621.7; 3 7 804.9 1010.6; 6 1 996.6 148.3; "
        "-1 6 166.4 1015.7; 10 2 1542.6 149.5; 6 6 1200.2 759.5; 3 3 662.3 472.4; "
        "3 0 571.0 121.7",
    ],
    "rhyme_073": [
        "0 0 104.6 70.4; -10 -18 1769.2 901.6; -11 -5 1124.8 76.6; -17 -11 1808.5 248.2; "
        "3 -9 124.2 709.1; -4 -18 1267.8 1161.5; -4 -6 643.9 293.5; -15 -7 1478.0 91.2",
    ],
    "rhyme_077": [
        "0 0 161.5 318.9; 16 7 1676.2 1095.6; 11 -5 1255.0 69.9; 8 8 688.2 1075.4; "
        "16 0 1710.7 450.2; 3 8 141.4 994.8; 5 -3 681.6 156.4; 13 8 1287.7 1158.6; "
        "15 -5 1627.5 95.7",
    ],
    "rhyme_116": [  # a plate hides the lines between the two groups
        "0 0 1315.5 1096.4; 1 0 1464.4 1057.8; 2 0 1607.4 1019.4; 3 0 1745.8 981.8; "
        "4 0 1878.2 945.1",
        "0 0 85.8 1082.5; 1 0 255.4 1044.5; 0 -1 62.2 943.8; 1 -1 227.1 909.1",
    ],
    "tread48_171": [
        "0 0 218.3 1008.9; 1 0 413.4 987.0; 2 0 604.5 965.1; 3 0 793.5 943.3; "
        "4 0 981.7 917.6; 0 -1 216.8 869.1; 1 -1 404.0 848.5; 2 -1 585.6 828.7; "
        "3 -1 766.6 808.6",
    ],
}
OBLIQUE = [
    *(
        pytest.param(name, turns, id=f"{name} {'turned' if turns else 'as taken'}")
        for name in ("mat_led_tape", "rhyme_073", "rhyme_077")
        for turns in (0, 1)
    ),
    pytest.param("rhyme_116", 0, id="rhyme_116 as taken"),
    pytest.param("rhyme_116", 1, id="rhyme_116 turned"),
    pytest.param("tread48_171", 0, id="tread48_171 as taken"),
    pytest.param("tread48_171", 1, id="tread48_171 turned"),
]


def read(group):
    """(N, 2) cells and (N, 2) pixels of a group of crossings."""
    table = np.array([row.split() for row in group.split(";")], float)
    return table[:, :2], table[:, 2:]


def misses_mm(plane, cells, crossings_px):
    """How far crossings lie off the lattice found, and how wrong their distances are, in mm."""
    affine = plane.references[-1].affine
    mm = plane.mm_from_px(crossings_px)
    own = (mm - affine[:, 2]) @ np.linalg.inv(affine[:, :2]).T
    off = np.linalg.norm(own - 10 * np.rint(own / 10), axis=1)
    true = 10 * np.linalg.norm(cells[:, None] - cells[None], axis=2)
    found = np.linalg.norm(mm[:, None] - mm[None], axis=2)
    return off, np.abs(found - true).max()


def test_the_260_known_crossings_lie_on_the_lattice():
    """Cells and pixels found by line fitting from hand-set starts, 2.5 px gate (SOURCES.md)."""
    known = json.loads((MATS / "grid_points.json").read_text())["left_case_top.jpg"]
    plane = blockcheck.find_plane(MATS / "left_case_top.jpg", grid="10mm")
    off, worst = misses_mm(plane, np.array(known["uv"]), np.array(known["xy"], float))
    assert len(off) == 260
    assert np.sqrt(np.mean(off**2)) < LINE_MM / 4
    assert np.percentile(off, 99) < LINE_MM / 2
    assert worst < LINE_MM + 0.003 * 250  # over the whole mat; a shifted cell would be 10


def test_a_photo_from_roughly_above_gives_its_lattice():
    plane = blockcheck.find_plane(MATS / "left_switch.jpg", grid="10mm")
    for group in READ["left_switch"]:
        cells, px = read(group)
        off, worst = misses_mm(plane, cells, px)
        assert off.max() < LINE_MM / 2
        assert worst < LINE_MM


@pytest.mark.parametrize(("name", "turns"), OBLIQUE)
def test_oblique_photos_give_the_right_lattice_or_a_refusal(name, turns, tmp_path):
    """Never a wrong pitch, never lines off their place; turned, the random choices fall anew."""
    photo = MATS / f"{name}.jpg"
    if turns:
        with Image.open(photo) as image:
            ImageOps.exif_transpose(image).transpose(Image.Transpose.ROTATE_90).save(
                tmp_path / "turned.png", compress_level=1
            )
        photo = tmp_path / "turned.png"
    try:
        plane = blockcheck.find_plane(photo, grid="10mm", focal=50)
    except (NoReferenceError, TiltedError):
        return
    for group in READ[name]:
        cells, px = read(group)
        if turns:
            px = np.column_stack([px[:, 1], 1919 - px[:, 0]])
        off, worst = misses_mm(plane, cells, px)
        assert off.max() < LINE_MM
        assert worst < LINE_MM
