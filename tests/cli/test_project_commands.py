"""The commands around the project file, and the examples of docs/project.md."""

import doctest
import json
import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from blockcheck.cli import main
from blockcheck.project import Project, schema
from blockcheck.units import INCH

ROOT = Path(__file__).resolve().parents[2]
PHOTOS = ROOT / "blockcheck" / "demo_photos"
PAGE = (ROOT / "docs" / "project.md").read_text("utf-8")
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.setattr(schema, "SYNCHRONOUS", "OFF")  # quicker; only a power cut would tell
    monkeypatch.chdir(tmp_path)


def run(*words, status=0):
    done = CliRunner().invoke(main, [str(w) for w in words])
    assert done.exit_code == status, done.output
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.output


def test_the_page_shows_what_the_commands_do(tmp_path):
    shutil.copytree(PHOTOS, tmp_path / "photos")
    console = "".join(re.findall(r"```console\n(.*?)```", PAGE, re.DOTALL))
    shown = re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", console, re.MULTILINE)
    assert len(shown) > 10
    for command, said in shown:
        program, *words = shlex.split(command)
        if program == "cat":
            Path(words[0]).write_text(said)
            continue
        output = CliRunner().invoke(main, words).output
        assert doctest.OutputChecker().check_output(said, output, FLAGS), f"{command}\n{output}"


def test_the_page_s_python_is_true():
    test = doctest.DocTestParser().get_doctest(PAGE, {}, "project.md", None, 0)
    result = doctest.DocTestRunner(optionflags=FLAGS).run(test)
    assert result.attempted > 3
    assert result.failed == 0


def test_the_options_are_the_plan_and_none_takes_away():
    run("new", "q", "--planned", "15x23", "--unit", "cm", "--seam-allowance", "6mm", "--sashing", "4",
        "--border", "5", "--border", "10", "--rows", "3", "--alternate", "--setting", "offset",
        "--fixed-width", "14.5", "--card-side", "10.1")  # fmt: skip
    with Project.open("q") as quilt:
        plan = quilt.plan
    assert plan.planned_mm == (150, 230)
    assert (plan.seam_mm, plan.step_mm, plan.sashing_cut_mm) == (6, 1, 40)
    assert (plan.borders_mm, plan.rows, plan.alternate) == ((50, 100), 3, True)
    assert (plan.setting, plan.fixed_width_mm, plan.card_side) == ("offset", 145, 101)
    said = run("plan", "q", "--sashing", "none", "--border", "none", "--rows", "none", "--unit", "in",
               "--no-alternate", "--ruler-line", "1/4")  # fmt: skip
    assert "sashing" not in said
    with Project.open("q") as quilt:
        plan = quilt.plan
    assert (plan.sashing_cut_mm, plan.borders_mm, plan.rows) == (None, (), None)
    assert (plan.step_mm, plan.alternate, plan.planned_mm) == (INCH / 4, False, (150, 230))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--planned", "six"], "not a size"),
        (["--seam-allowance", "none"], "not a length"),
        (["--rows", "two"], "not a whole number"),
        (["--rows", "0"], "must be 1 or more"),
        (["--card-side", "4mm"], "not between"),
        (["--planned", "1/4x9"], "no larger than its own seam allowances"),
    ],
)
def test_a_plan_that_cannot_be_meant_is_a_usage_error_and_makes_no_file(words, said, tmp_path):
    assert said in run("new", "q", *words, status=2)
    assert list(tmp_path.iterdir()) == []


def test_photos_that_cannot_be_measured_are_named_and_the_others_kept(tmp_path):
    run("new", "q", "--card-side", "4in")
    (tmp_path / "words.jpg").write_text("no photo")
    output = run("add", "q", "words.jpg", PHOTOS / "sailboat-1.jpg", "gone.jpg", status=1)
    assert re.search(r"NOT KEPT: words\.jpg .*not a photo", output)
    assert re.search(r"NOT KEPT: gone\.jpg cannot be opened", output)
    assert "block 1, " in output
    assert "Kept 1 of 3 photos in q.blockcheck." in output
    with Project.open("q") as quilt:
        assert quilt.latest("1").settings["card_side"] == 4 * INCH


def test_names_are_new_or_known_as_was_said(tmp_path):
    photo = shutil.copy(PHOTOS / "sailboat-2.jpg", tmp_path / "a.jpg")
    run("new", "q", "--card-side", "4in")
    assert "no block Mast" in run("add", "q", photo, "--again", "Mast", status=3)
    assert "block Mast, 6" in run("add", "q", photo, "--name", "Mast", "--note", "blue")
    assert "--again Mast" in run("add", "q", "b.jpg", "--name", "Mast", status=3)
    with Project.open("q") as quilt:
        quilt.set_points("Mast", {"top": (70, 6)})
    run("plan", "q", "--card-side", "3.98in")
    assert "Mark its points again" in run("add", "q", photo, "--again", "Mast")
    shown = run("show", "q", "Mast")
    assert "measured again: " in shown
    assert re.search(r"width, 1 sigma: edge fit +0\.0", shown)
    run("add", "q", photo, photo, "--name", "A", status=2)
    Path(photo).rename(tmp_path / "moved.jpg")
    assert "MISSING" in run("show", "q", "Mast")
    assert "missing photo: a.jpg" in run("list", "q")
    assert "the same photo  moved.jpg is already in, as block Mast." in run("add", "q", "moved.jpg")
    assert "missing" not in run("list", "q")


def test_a_failed_import_leaves_no_project_behind(tmp_path):
    (tmp_path / "x.json").write_text("{}")
    assert "not an exported project" in run("import", "new", "x.json", status=4)
    assert not (tmp_path / "new.blockcheck").exists()
    run("new", "q")
    assert "must end in .csv or .json" in run("export", "q", "x.txt", status=2)
    run("export", "q", "y.json")
    assert json.loads((tmp_path / "y.json").read_text())["schema"] == "blockcheck/project-1"


@pytest.mark.parametrize(
    "words",
    [["list", "q"], ["show", "q", "1"], ["plan", "q"], ["add", "q", "x.jpg"], ["remove", "q", "1"],
     ["restore", "q", "1"], ["change", "q", "1", "--note", "x"], ["export", "q", "x.csv"]],
)  # fmt: skip
def test_every_command_says_in_one_sentence_that_there_is_no_project(words):
    assert "There is no project q.blockcheck. Make one with: blockcheck new" in run(
        *words, status=3
    )


@pytest.mark.parametrize("words", [("list", "."), ("new", "."), ("import", ".", "x.json")])
def test_a_folder_is_no_project(words):
    assert "is a folder, not a project" in run(*words, status=3)


def test_a_photo_taken_sideways_is_asked_about_when_it_is_kept(tmp_path):
    with Image.open(PHOTOS / "sailboat-1.jpg") as photo:
        photo.transpose(Image.Transpose.ROTATE_90).save(tmp_path / "turned.jpg", quality=95)
    run("new", "q", "--planned", "6x9", "--card-side", "4in")
    said = run("add", "q", "turned.jpg")
    assert "Is this block sideways?" in said
    assert "--again 1" in said


def test_what_is_to_be_typed_is_quoted_where_a_name_has_a_space(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run("new", "q")
    (tmp_path / "r.csv").write_text("name,width,height\n4 left,6,9\n")
    run("import", "q", "r.csv")
    assert "blockcheck restore q '4 left'" in run("remove", "q", "4 left")
    assert "restore q.blockcheck '4 left')" in run("list", "q")
