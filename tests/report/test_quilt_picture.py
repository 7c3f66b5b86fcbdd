"""The drawn quilt: to scale, every piece named, every cut on the cloth."""

from xml.etree import ElementTree as ET

import numpy as np
import pytest

from blockcheck.planning.cutting.cloth import lay_on_cloth, read_cloth
from blockcheck.planning.cutting.cut_list import Fabric
from blockcheck.planning.cutting.pieces import CutPiece
from blockcheck.planning.layouts.design import ALTERNATE, SIDES, Border, Design, chessboard
from blockcheck.planning.layouts.layout import lay_out
from blockcheck.planning.plan import Plan
from blockcheck.report.cutting_words import order
from blockcheck.report.quilt_picture import cloth_picture, key_of_quilt, letters, quilt_picture
from blockcheck.units import INCH

SVG = "{http://www.w3.org/2000/svg}"
BORDER = Border(dict.fromkeys(SIDES, 3 * INCH), "mitred")
ON_POINT = Design(
    {"sailboat": (5.5 * INCH, 8.5 * INCH)},
    chessboard("sailboat", ALTERNATE),
    4,
    3,
    "on point",
    frame_mm={"left": 1.5 * INCH, "right": 1.5 * INCH},
    borders=(BORDER,),
)


def test_every_piece_is_drawn_to_scale_and_named():
    laid = lay_out(ON_POINT)
    root = ET.fromstring(quilt_picture(laid, Plan()))
    drawn = root.findall(f"{SVG}polygon")
    assert len(drawn) == len(laid.patches)
    outlines = [
        [tuple(map(float, p.split(","))) for p in one.get("points").split()] for one in drawn
    ]
    width = max(x for o in outlines for x, _ in o) - min(x for o in outlines for x, _ in o)
    height = max(y for o in outlines for _, y in o) - min(y for o in outlines for _, y in o)
    assert height / width == pytest.approx(laid.height_mm / laid.width_mm, rel=1e-3)
    words = [t.text for t in root.iter(f"{SVG}text")]
    for letter, some in zip(letters(len(laid.kinds())), laid.kinds(), strict=True):
        written = sum(w.split()[0] == letter for w in words)
        assert written == len(some) + 1, letter  # and once in the list


def test_the_list_says_what_each_letter_is():
    said = dict(key_of_quilt(lay_out(ON_POINT), Plan()))
    assert said["A"] == "12 × sailboat, 6 × 9 in unfinished"
    everything = "; ".join(said.values())
    assert "10 × side triangle, from 3 squares of 13 3/8 × 13 3/8 in cut twice" in everything
    assert "4 × corner triangle, from 2 squares of 7 × 7 in cut once" in everything
    assert list(said.values())[-1].startswith("2 × border")


def test_fabrics_differ_by_their_hatching():
    root = ET.fromstring(quilt_picture(lay_out(ON_POINT), Plan()))
    fills = {p.get("fill") for p in root.findall(f"{SVG}polygon")}
    # white blocks, setting triangles, frame, alternate blocks, border
    assert len(fills) == 5
    assert len({ET.tostring(p)[60:] for p in root.findall(f"{SVG}pattern")}) >= 4


def test_cloth_is_drawn_with_every_strip_and_piece():
    pieces = [CutPiece(ALTERNATE, 6 * INCH, 9 * INCH, 9)]
    laid = lay_on_cloth(pieces, in_hand=read_cloth("fat quarter"))
    places = 0
    for one in (*laid.in_hand, laid.bolt):
        root = ET.fromstring(cloth_picture(one, laid.pieces, Plan(unit="cm")))
        places += len(root.findall(f"{SVG}rect")) - 1
        assert len(root.findall(f"{SVG}line")) == len(one.strips)
        assert any("cm" in t.text for t in root.iter(f"{SVG}text"))
    assert places == 9


def test_letters_on_the_cloth_are_named_beside_it():
    pieces = (
        CutPiece("border", 20 * INCH, 2 * INCH, 2, ""),
        CutPiece("sashing", 3 * INCH, INCH, 4, ""),
    )
    fabric = Fabric("blue", pieces, 40 * INCH, (), 0.1, False, INCH / 4, "in")
    drawn = cloth_picture(fabric.cloth.bolt, fabric.cloth.pieces, Plan())
    ((_, strips),) = order(Plan(), fabric, lettered=True)
    for letter, piece in zip("AB", fabric.cloth.pieces, strict=True):
        assert f">{letter}" in drawn
        assert f"{letter} {piece.name}," in " ".join(strips)


def test_narrow_strips_of_one_width_are_told_where_there_is_room():
    pieces = (CutPiece("border", 39 * INCH, INCH, 8, ""),)
    laid = lay_on_cloth(pieces)
    root = ET.fromstring(cloth_picture(laid.bolt, laid.pieces, Plan()))
    told = [float(t.get("y")) for t in root.iter(f"{SVG}text") if t.text == "1 in"]
    assert 1 < len(told) < len(laid.bolt.strips) == 8
    assert np.diff(told).min() > 11


def test_letters_go_on_after_z():
    assert letters(28)[25:] == ["Z", "AA", "AB"]
