"""Kinds of blocks, halves, settings and fabrics on the command line."""

import json
import re

import pytest
from click.testing import CliRunner

from blockcheck.cli import main
from blockcheck.project import Project


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*words, status=0):
        done = CliRunner().invoke(main, [str(w) for w in words])
        assert done.exit_code == status, done.output
        return done.output

    call(
        "new", "sails", "--planned", "6x9", "--kind", "sailboat", "--rows", 2, "--blocks-per-row", 2
    )
    return call


def rulers(run, **sizes):
    lines = ["name,width,height", *(f"{n.replace('_', ' ')},{s}" for n, s in sizes.items())]
    with open("ruler.csv", "w", encoding="utf-8") as file:
        file.write("\n".join(lines))
    run("import", "sails", "ruler.csv")


def test_kinds_are_added_changed_and_taken_out(run):
    assert "lighthouse (6 × 12 in)" in run("kind", "sails", "lighthouse", "--planned", "6x12")
    told = run("kind", "sails", "lighthouse", "--motif", "red and white")
    assert "sailboat; lighthouse (6 × 12 in, red and white)" in told
    chosen = run("kind", "sails", "lighthouse", "--trim-to", "5 7/8x12")
    assert "6 × 12 in, trimmed to 5 7/8 × 12 in" in chosen
    assert "trimmed to" not in run("kind", "sails", "lighthouse", "--trim-to", "none")
    assert "lighthouse" not in run("kind", "sails", "lighthouse", "--remove")
    assert "no kind" in run("kind", "sails", "tug", "--remove", status=3)
    assert "first kind" in run("kind", "sails", "sailboat", "--planned", "5x5", status=2)


def test_a_block_is_of_a_kind_and_can_be_of_another(run):
    run("kind", "sails", "lighthouse", "--planned", "6x9")
    rulers(run, a="6,9", b="6,9")
    run("change", "sails", "b", "--kind", "lighthouse")
    with Project.open("sails") as quilt:
        assert [b.kind for b in quilt.blocks()] == ["", "lighthouse"]
        quilt.undo()
        assert [b.kind for b in quilt.blocks()] == ["", ""]
        quilt.redo()
    assert "no kind of block called tug" in run("change", "sails", "b", "--kind", "tug", status=3)
    run("export", "sails", "all.json")
    run("import", "copy", "all.json")
    with Project.open("copy") as quilt:
        assert [b.kind for b in quilt.blocks()] == ["", "lighthouse"]
        assert quilt.plan.kinds[0].name == "lighthouse"


def test_halves_are_compared_before_they_are_joined(run):
    run("kind", "sails", "gull", "--planned", "3 1/4x9", "--halves")
    rulers(run, **{"4_left": "3.25,9", "4_right": "3.25,9 1/2", "5_left": "3.25,9"})
    for name in ("4 left", "4 right", "5 left"):
        run("change", "sails", name, "--kind", "gull")
    told = run("compare", "sails")
    assert "The inner side of 4 right is 1/2 in longer than that of 4 left." in told
    assert "more than can be eased" in told
    assert re.search(r"Joined, they will measure 6 in ± 0\.\d+ in wide", told)
    assert "Without a mirrored half: 5 left." in told
    found = json.loads(run("compare", "sails", "4 left", "4 right", "--json"))
    assert found["pairs"][0]["width_mm"]["value"] == pytest.approx(152.4)
    assert "Name two halves" in run("compare", "sails", "4 left", status=2)
    assert "There is no block 9" in run("compare", "sails", "9", "4 left", status=3)


def test_without_halves_there_is_nothing_to_compare(run):
    rulers(run, a="6,9")
    assert "no halves to compare" in run("compare", "sails", status=5)


@pytest.mark.parametrize(
    ("options", "pieces"),
    [
        (
            ("--alternate", "--clipped", "2in"),
            ["clipped alternate block", "clipped corner triangle"],
        ),
        (("--setting", "offset"), ["half block"]),
        (
            ("--sashing", "2in", "--sashing-between", "both", "--cornerstones"),
            ["sashing", "cornerstone"],
        ),
        (
            ("--setting", "on-point", "--frame", "left=2in,right=2in"),
            ["side triangle", "corner triangle", "frame"],
        ),
        (("--border", "3in", "--border-corners", "mitred"), ["mitre the ends"]),
        (("--border", "top=3in,bottom=3in"), ["border, top and bottom"]),
    ],
)
def test_each_setting_is_planned_drawn_and_cut(run, options, pieces, tmp_path):
    rulers(run, a="6,9", b="6,9", c="6,9", d="6,9")
    run("plan", "sails", *options, "--picture", "quilt.svg")
    assert "sailboat" in (tmp_path / "quilt.svg").read_text("utf-8")
    cut = run("cut", "sails")
    for piece in pieces:
        assert piece in cut
    assert "No layout can take less" in cut or "No layout takes less" in cut
    run("report", "sails")
    report = (tmp_path / "sails.html").read_text("utf-8")
    assert "The whole quilt" in report


def test_cloth_in_hand(run):
    rulers(run, a="6,9", b="6,9", c="6,9", d="6,9")
    run("plan", "sails", "--border", "3in", "--fabric", "border=blue", "--have", "blue=1/2 yd")
    cut = run("cut", "sails")
    assert "The cloth in hand (1/2 yd) is enough" in cut
    run("plan", "sails", "--have", "blue=6x6in", "--allowance", "20%", "--lengthwise", "border")
    cut = run("cut", "sails")
    assert "The cloth in hand (6x6in) is not enough" in cut
    assert "shrinkage 20 % more" in cut
    assert "along the lengthwise grain" in cut
    assert "in hand" in run("plan", "sails")
    assert "in hand" not in run("plan", "sails", "--have", "none", "--lengthwise", "none")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--have", "blue"), "Write it like blue=1 1/4yd"),
        (("--have", "blue=much"), "not a piece of cloth"),
        (("--allowance", "most"), "Write it like 10%"),
        (("--frame", "middle="), "Write it like left=2in"),
        (("--order", "sailboat, tug"), "no kind of block called tug"),
        (("--measured-middle", "12"), "not a size"),
    ],
)
def test_what_cannot_be_read_says_how_to_write_it(run, options, says):
    assert says in run("plan", "sails", *options, status=2)


def test_what_the_quilt_does_not_have_is_told(run):
    rulers(run, a="6,9", b="6,9", c="6,9", d="6,9")
    run("plan", "sails", "--border", "3in", "--have", "green=1yd")
    assert "no such part of the quilt" in run("plan", "sails", "--fabric", "hem=red") + run(
        "cut", "sails", status=5
    )


def test_cloth_that_nothing_is_cut_from_is_a_note_and_no_refusal(run, tmp_path):
    rulers(run, a="6,9", b="6,9", c="6,9", d="6,9")
    said = "Nothing is cut from blue (1 1/4yd in hand)"
    told = run("plan", "sails", "--have", "blue=1 1/4yd")
    assert said in told
    assert '--have "FABRIC=none"' in told
    cut = run("cut", "sails")
    assert said in cut
    assert "Binding" in cut
    assert json.loads(run("cut", "sails", "--json"))["unused"][0].startswith(said)
    run("report", "sails")
    text = (tmp_path / "sails.html").read_text("utf-8").replace("\N{NO-BREAK SPACE}", " ")
    assert said in text
    told = run("plan", "sails", "--border", "3in", "--fabric", "border=blue")
    assert "Nothing is cut" not in told
    assert "Nothing is cut from green" in run("plan", "sails", "--have", "green=1yd")


def test_what_is_said_of_one_fabric_leaves_the_others_as_they_are(run):
    run("plan", "sails", "--border", "3in", "--have", "border=1yd", "--have", "red=14x20in")
    told = run("plan", "sails", "--have", "red=none")
    assert "border: 1yd" in told
    assert "14x20in" not in told
    assert "border: fat quarter" in run("plan", "sails", "--have", "border=fat quarter")
    told = run("plan", "sails", "--have", "none", "--have", "border=2yd")
    assert "border: 2yd" in told
    assert "fat quarter" not in told
    assert "sashing: blue" in run("plan", "sails", "--fabric", "sashing=blue")
    told = run("plan", "sails", "--fabric", "border=red", "--fabric", "sashing=none")
    assert "border: red" in told
    assert "sashing: blue" not in told


def test_the_quilt_is_drawn_as_planned_before_there_are_blocks(run, tmp_path):
    run("plan", "sails", "--picture", "quilt.svg")
    assert "11 × 17 in finished" in (tmp_path / "quilt.svg").read_text("utf-8")
    run("plan", "sails", "--rows", "none")
    assert "no measured blocks" in run("plan", "sails", "--picture", "quilt.svg", status=5)


def test_what_is_measured_through_the_middle_stands_beside_what_is_worked_out(run, tmp_path):
    """Raw blocks of 6 x 9 in finish at 5 1/2 x 8 1/2 in: two by two make 11 x 17 in."""
    rulers(run, a="6,9", b="6,9", c="6,9", d="6,9")
    told = run("plan", "sails", "--border", "2in", "--measured-middle", "11 1/8x17")
    beside = "Width inside the borders: 11 1/8 in, measured through the middle; worked out 11 in"
    assert beside in told
    assert "do not cut" not in told
    assert beside in run("cut", "sails")
    # from raw edge to raw edge: a seam allowance of 1/4 in more at both ends
    told = run("plan", "sails", "--measured-middle", "11 1/2x17 1/2")
    assert told.count("it measures 1/2 in more than it counts: take that off") == 2
    told = run("plan", "sails", "--measured-middle", "50x17")
    assert "is 39 in more than what is worked out, and its seams explain 3/16 in at most" in told
    assert "do not cut the borders yet" in run("cut", "sails")
    assert len(json.loads(run("cut", "sails", "--json"))["doubts"]) == 1
    run("report", "sails")
    assert "do not cut the borders yet" in (tmp_path / "sails.html").read_text("utf-8")


def test_a_block_that_is_not_there_is_said_without_an_empty_list(run):
    assert "It has no blocks yet." in run("compare", "sails", "a", "b", status=3)
    rulers(run, c="6,9")
    assert "It has c." in run("compare", "sails", "a", "b", status=3)


def test_a_plan_that_does_not_go_together_is_kept_and_says_what_to_do(run):
    assert "kept, but" not in run("plan", "sails", "--setting", "offset", "--sashing", "1in")
    told = run("plan", "sails", "--setting", "on-point")
    assert "This plan is kept, but the quilt cannot be worked out from it: Sashing is" in told
    assert "(--sashing none)" in told
    told = run("plan", "sails", "--setting", "on-point", "--picture", "quilt.svg", status=5)
    assert "(--sashing none)" in told
    assert "The plan is kept as it is above." in told
    assert "kept, but" not in run("plan", "sails", "--sashing", "none")
