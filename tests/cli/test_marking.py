"""The command `mark`, and the examples of docs/marking.md."""

import doctest
import json
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from blockcheck.cli import main
from blockcheck.planning.quilt import work_out
from blockcheck.project import Project, schema
from blockcheck.units import INCH

ROOT = Path(__file__).resolve().parents[2]
PHOTO = ROOT / "blockcheck" / "demo_photos" / "sailboat-1.jpg"
PAGE = (ROOT / "docs" / "marking.md").read_text("utf-8")


def run(*words, status=0):
    done = CliRunner().invoke(main, [str(w) for w in words])
    assert done.exit_code == status, done.output
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.output


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.setattr(schema, "SYNCHRONOUS", "OFF")  # quicker; only a power cut would tell
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A folder with a project that holds one block and its photo."""
    folder = tmp_path_factory.mktemp("measured")
    shutil.copy(PHOTO, folder / "gull.jpg")
    run("new", folder / "q", "--planned", "6x9", "--card-side", "4in")
    run("add", folder / "q", folder / "gull.jpg", "--name", "Gull")
    return folder


@pytest.fixture
def gull(measured, tmp_path):
    shutil.copytree(measured, tmp_path, dirs_exist_ok=True)


@pytest.fixture
def ruler(tmp_path):
    (tmp_path / "r.csv").write_text("name,width,height\nMast,6,9\n")
    run("new", "q", "--planned", "6x9")
    run("import", "q", "r.csv")


def marks(name):
    with Project.open("q") as quilt:
        kept = quilt.latest(name)
        return dict(kept.points_mm), kept.centre_line_mm, len(quilt.history(name))


def test_the_page_shows_what_the_commands_do(tmp_path):
    (tmp_path / "photos").mkdir()
    shutil.copy(PHOTO, tmp_path / "photos")
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    console = "".join(re.findall(r"```console\n(.*?)```", PAGE, re.DOTALL))
    shown = re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", console, re.MULTILINE)
    assert len(shown) == 7
    for command, said in shown:
        output = CliRunner().invoke(main, shlex.split(command)[1:]).output
        assert doctest.OutputChecker().check_output(said, output, flags), f"{command}\n{output}"
    with Image.open("gull.jpg") as picture:
        assert picture.size[0] == 1200


@pytest.mark.usefixtures("ruler")
@pytest.mark.parametrize(
    ("place", "x", "y"),
    [
        ("3in,1/4in", 3, 0.25),
        ("3 1/2, 1/4", 3.5, 0.25),
        ("right 1/4in,2in", 5.75, 2),
        ("left 1in,bottom 2in", 1, 7),
        ("0,bottom 0in", 0, 9),
        ("2.54cm,50.8mm", 1, 2),
    ],
)
def test_a_place_is_read_from_the_edges(place, x, y):
    run("mark", "q", "Mast", "--point", "peak", place)
    points, line, _ = marks("Mast")
    assert points["peak"] == pytest.approx((x * INCH, y * INCH))
    assert line is None


@pytest.mark.usefixtures("gull")
def test_the_ruler_is_laid_at_right_angles_to_each_edge():
    run("mark", "q", "Gull", "--point", "p", "right 1in,bottom 2in")
    with Project.open("q") as quilt:
        corners = quilt.latest("Gull").corners_mm
    point = np.array(marks("Gull")[0]["p"])
    for a, b, inches in ((corners[1], corners[2], 1), (corners[2], corners[3], 2)):
        along = (b - a) / np.linalg.norm(b - a)
        away = along[0] * (point - a)[1] - along[1] * (point - a)[0]
        assert away == pytest.approx(inches * INCH)


@pytest.mark.usefixtures("ruler")
def test_marks_are_added_moved_shown_and_cleared():
    assert "Mast has no marks." in run("mark", "q", "Mast")
    run("mark", "q", "Mast", "--point", "a", "1in,1in", "--point", "b", "2in,2in")
    run("mark", "q", "Mast", "--point", "a", "1in,3in", "--centre", "3in,0", "3in,9in")
    points, line, before = marks("Mast")
    assert points == {"a": pytest.approx((INCH, 3 * INCH)), "b": pytest.approx((2 * INCH,) * 2)}
    assert line == (pytest.approx((3 * INCH, 0)), pytest.approx((3 * INCH, 9 * INCH)))
    said = run("mark", "q", "Mast")
    assert "point a: 1 in from the left, 3 in from the top" in said
    assert "3 in from the left, at the top to 3 in from the left, at the bottom" in said
    assert marks("Mast")[2] == before  # looking changes nothing
    run("mark", "q", "Mast", "--clear", "--point", "c", "1in,1in")
    assert list(marks("Mast")[0]) == ["c"]
    assert marks("Mast")[1] is None


@pytest.mark.usefixtures("ruler")
@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["--point", "a", "3in"], 2, "with a comma"),
        (["--point", "a", "3in,two"], 2, '"two" is not a length'),
        (["--point", "a", "top 3in,1in"], 2, "left or right edge"),
        (["--point", "a", "9in,1in"], 2, "lies off Mast, which is 6 × 9 in"),
        (["--point", "a", "1in,bottom 10in"], 2, "lies off Mast"),
        (["--point", " ", "1in,1in"], 3, "cannot be a name"),
        (["--centre", "3in,1in", "3in,1in"], 2, "two different places"),
        (["--picture", "a.jpg"], 2, "--picture goes with --suggest"),
        (["--suggest", "--picture", "a.gif"], 2, "must end in .jpg or .jpeg or .png"),
        (["--suggest"], 3, "There is no photo of Mast to look at: it was measured with a ruler"),
        (["--accept", "1"], 3, "--point NAME X,Y"),
    ],
)
def test_what_cannot_be_meant_is_said_and_nothing_is_kept(words, status, said):
    before = marks("Mast")
    assert said in run("mark", "q", "Mast", "--point", "good", "1in,1in", *words, status=status)
    assert marks("Mast") == before


@pytest.mark.usefixtures("gull")
def test_suggesting_marks_nothing_and_accepting_what_was_chosen():
    before = marks("Gull")
    said = run("mark", "q", "Gull", "--suggest", "--picture", "look.png")
    assert "guesses" in said
    assert "None of them is marked" in said
    assert marks("Gull") == before
    assert Path("look.png").stat().st_size > 50_000
    number = re.findall(r"^ +(\d+)  point", said, re.MULTILINE)[2]
    run("mark", "q", "Gull", "--accept", number)
    points, line, _ = marks("Gull")
    assert list(points) == [number]
    assert line is None
    with Project.open("q") as quilt:  # the bow lies a bare seam allowance inside the raw edge
        (plan,) = work_out(quilt.plan, quilt.blocks()).trims
    assert not plan.cut_points  # so the right edge is left as it is
    assert max(plan.offcuts[1].first_mm, plan.offcuts[1].second_mm) < INCH / 32


@pytest.mark.usefixtures("gull")
def test_a_photo_that_is_gone_or_changed_is_said_and_the_ruler_still_works(tmp_path):
    with (tmp_path / "gull.jpg").open("ab") as photo:
        photo.write(b"\0")
    assert "gull.jpg has changed since Gull was measured" in run("mark", "q", "Gull", "--suggest", status=3)  # fmt: skip
    written_over = run("mark", "q", "Gull", "--suggest", "--picture", "gull.jpg", status=2)
    assert "gull.jpg is the photo" in written_over
    (tmp_path / "gull.jpg").unlink()
    assert "gull.jpg of Gull is missing" in run("mark", "q", "Gull", "--suggest", status=3)
    run("mark", "q", "Gull", "--point", "peak", "3in,1/4in")
    assert list(marks("Gull")[0]) == ["peak"]


@pytest.mark.usefixtures("gull")
def test_a_block_without_seams_and_a_picture_that_cannot_be_written(monkeypatch):
    monkeypatch.setattr("blockcheck.vision.seams.points.find_seams", lambda *_: ())
    said = run("mark", "q", "Gull", "--suggest", "--picture", "no/such/place.jpg", status=4)
    assert "place.jpg cannot be written" in said
    said = run("mark", "q", "Gull", "--suggest")
    assert "No seams that meet near an edge were seen in the photo of Gull." in said
    assert "There are no suggestions." in run("mark", "q", "Gull", "--accept", "1", status=2)


def test_a_lens_profile_kept_with_the_measurement_is_used_again():
    from dataclasses import asdict

    from blockcheck.profiles import LensProfile
    from blockcheck.project.records import settings_from, to_json
    from blockcheck.settings import Settings

    profile = LensProfile("Phone", 4000, 3000, 26.0, 0.7, 0.01, 0.0, 0.0, 0.0, np.eye(5), 8, 0.1)
    given = Settings(card_side=101.6, planned=(152.4, 228.6), profiles=(profile,))
    back = settings_from(json.loads(to_json(asdict(given))))
    assert back.card_side == 101.6
    assert back.profiles[0].key == profile.key
    assert np.array_equal(back.profiles[0].covariance, np.eye(5))
