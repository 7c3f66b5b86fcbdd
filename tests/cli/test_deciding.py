"""The commands that say what to trim and cut, on a project measured with a ruler and by photo."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from blockcheck.cli import main
from blockcheck.report import words

DEMO = Path(__file__).parents[2] / "blockcheck" / "demo_photos"
SIZES = """name,width,height
SB-1,6 5/16,9 1/4
SB-2,6 1/4,9 1/4
SB-3,6 5/8,9 5/16
SB-4,6 1/4,9 3/16
"""


def run(*words, status=0):
    result = CliRunner().invoke(main, [str(w) for w in words])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.output


@pytest.fixture
def project(tmp_path):
    """Four blocks measured with a ruler, planned 6 1/2 x 9 1/2 in."""
    path = tmp_path / "sails.blockcheck"
    run("new", path, "--planned", "6 1/2 x 9 1/2", "--seams-across", "2", "--border", "3in")
    (tmp_path / "sizes.csv").write_text(SIZES)
    run("import", path, tmp_path / "sizes.csv")
    return path


@pytest.mark.parametrize("rule", ["--no-guarded", "--guarded"])
def test_list_and_size_never_contradict_each_other(tmp_path, rule):
    """Each block's verdict is that of the table of sizes, whichever rule and kind it is of."""
    path = tmp_path / "q.blockcheck"
    run("new", path, "--planned", "6 1/2 x 9 1/2", rule)
    run("kind", path, "gull", "--planned", "4x4")
    wide = ("6 1/2", "6 15/32", "6 13/32", "6 3/8", "6 5/8", "6 9/16")
    rows = [f"A{i},{w},9 9/16" for i, w in enumerate(wide)] + ["G1,4,4", "G2,3 3/4,4 1/8"]
    (tmp_path / "r.csv").write_text("\n".join(["name,width,height", *rows]))
    run("import", path, tmp_path / "r.csv")
    run("change", path, "A5", "--state", "set aside")
    for name in ("G1", "G2"):
        run("change", path, name, "--kind", "gull")
    listed = [re.split("  +", line) for line in run("list", path).splitlines()[2:10]]
    said = run("size", path)
    short = {name for name, *_, verdict in listed if verdict.startswith("not reached")}
    assert short == set(re.findall(r"^  (\w+): .* too (?:narrow|low)", said, re.MULTILINE))
    assert "A3" in short
    assert {verdict for name, *_, verdict in listed if name == "A4"} == {"reached"}
    assert ("A1" in short) is (rule == "--guarded")
    assert listed[5][-1] not in ("reached", "not reached")  # set aside
    assert [listed[6][i] for i in (0, 1, 7, 8)] == ["G1", "gull", "0 in", "0 in"]


def test_size_says_what_all_reach_what_limits_and_what_more_would_cost(project):
    said = run("size", project)
    assert said.startswith("All 4 blocks can be trimmed to 6 1/4 × 9 1/4 in.")
    assert "SB-4 sets the limit: 3/16 in short of 9 3/8 in high" in said
    assert "6 1/4 × 9 1/4 in (trim to): 4 of 4 blocks" in said
    assert "6 1/2 × 9 1/2 in (planned): none of 4 blocks" in said
    assert "SB-4: 5/16 in too short and 1/4 in too narrow. Sewn in as it is, its seam " in said
    assert "A close call, with the chance that the block is really too small: SB-4 (50 %)" in said
    assert "Below the planned 6 1/2 × 9 1/2 in:" in said
    assert "Measured with a ruler, not from a photo" in said
    assert words.RULER_FIRST in said


def test_trim_tells_the_cuts_of_all_or_of_those_named(project):
    every, one = run("trim", project), run("trim", project, "SB-3")
    assert all(f"\nSB-{i}: " in every for i in (1, 2, 3, 4))
    assert (
        "SB-4: no trimming needed; its seam allowance comes to 7/32 in where cloth is missing"
        in every
    )
    assert "\nSB-3: trim only where it sticks out\n" in one
    assert "SB-1" not in one
    assert one.count("ff the ") == 4
    assert words.CAUTION in one


def test_a_size_is_looked_at_and_chosen_and_everything_follows_it(project):
    seen = run("size", project, "--to", "6 3/8 x 9 1/4")
    assert seen.startswith("You chose 6 3/8 × 9 1/4 in: 2 of 4 blocks reach it, not SB-2 and SB-4.")
    assert run("trim", project).startswith("Trim to 6 1/4 × 9 1/4 in.")  # not kept yet
    kept = run("size", project, "--to", "6 3/8 x 9 1/4", "--choose")
    assert "To undo it: blockcheck plan" in kept
    assert run("trim", project).startswith("Trim to 6 3/8 × 9 1/4 in.")
    assert "trimmed to 6 3/8 × 9 1/4 in" in run("rows", project)
    run("plan", project, "--setting", "offset")
    assert "6 3/8 in ÷ 2 + 1/4 in = 3 7/16 in" in run("cut", project)
    run("report", project)
    assert "You chose 6\xa03/8" in project.with_suffix(".html").read_text("utf-8")
    run("plan", project, "--trim-to", "none")
    assert run("trim", project).startswith("Trim to 6 1/4 × 9 1/4 in.")


def test_choosing_needs_a_size_that_can_be_one(project):
    assert "say --to WxH too" in run("size", project, "--choose", status=2)
    assert "no larger than its own seam allowances" in run(
        "size", project, "--to", "1/4x9", status=2
    )
    assert "is not a size" in run("size", project, "--to", "6", status=2)


def test_a_perfect_set_stays_whole(tmp_path):
    path = tmp_path / "perfect.blockcheck"
    run("new", path, "--planned", "6 1/2 x 6 1/2")
    rows = "".join(f"SB-{i},6 1/2,6 1/2\n" for i in range(1, 13))
    (tmp_path / "sizes.csv").write_text("name,width,height\n" + rows)
    run("import", path, tmp_path / "sizes.csv")
    said = run("size", path)
    assert said.startswith("All 12 blocks are the planned 6 1/2 × 6 1/2 in: no trimming needed.")
    assert "A close call" not in said
    assert run("trim", path).count("no trimming needed") == 12


def test_trim_of_an_unknown_block_names_those_there_are(project):
    said = run("trim", project, "SB-9", status=3)
    assert "There is no block SB-9. The blocks are SB-1, SB-2, SB-3 and SB-4." in said


def test_trim_of_a_block_set_aside_says_so(project):
    run("change", project, "SB-3", "--state", "set aside")
    assert "SB-3 is set aside" in run("trim", project, "SB-3", status=5)
    assert "Set aside and not counted: SB-3." in run("size", project)


def test_rows_tell_where_they_miss_and_what_to_ease(project):
    said = run("rows", project)
    assert "row 1: SB-1 (6 5/16 × 9 1/4 in), SB-2 (6 1/4 × 9 1/4 in); 11 9/16 in sewn" in said
    assert "The seam after SB-1 in row 1 and the seam after SB-3 in row 2 are 5/16 in apart" in said
    assert "5/16 in over 5 13/16 in is too much to ease: trim SB-3 to size first." in said


def test_cut_shows_every_working(project):
    run("plan", project, "--setting", "offset", "--alternate")
    said = run("cut", project)
    assert "6 1/4 in ÷ 2 + 1/4 in = 3 3/8 in" in said
    assert "2 × border, left and right, 3 ×" in said
    assert "Binding: (2 ×" in said
    assert words.RULER_FIRST in said


def test_report_and_sheet_are_written_where_told(project, tmp_path):
    said = run("report", project)
    assert said.startswith("All 4 blocks can be trimmed to 6 1/4 × 9 1/4 in.")
    assert "<title>sails: what to cut</title>" in (tmp_path / "sails.html").read_text("utf-8")
    run("report", project, "--output", tmp_path / "other.html", "--paper", "a4")
    assert "size: a4" in (tmp_path / "other.html").read_text("utf-8")
    run("trim-sheet", project)
    assert (tmp_path / "sails-trim.pdf").read_bytes().startswith(b"%PDF")
    run("labels", project)
    assert (tmp_path / "sails-labels.pdf").read_bytes().startswith(b"%PDF")
    run("labels", project, "--output", tmp_path / "labels.pdf", "--paper", "a4")
    assert (tmp_path / "labels.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("command", ["report", "trim-sheet"])
def test_the_project_is_never_written_over(project, command):
    before = project.read_bytes()
    said = run(command, project, "--output", project, status=2)
    assert "is the project itself" in said
    assert project.read_bytes() == before


@pytest.mark.parametrize("command", ["report", "trim-sheet"])
def test_a_place_that_cannot_be_written_is_one_sentence(project, tmp_path, command):
    kind = {"report": "html", "trim-sheet": "pdf"}[command]
    said = run(command, project, "--output", tmp_path / "no" / f"x.{kind}", status=4)
    assert "cannot be written (No such file or directory)." in said


@pytest.mark.parametrize("command", ["report", "trim-sheet"])
def test_nothing_of_another_kind_is_written_over(project, tmp_path, command):
    other = tmp_path / "photo.jpg"
    other.write_bytes(b"a photo")
    said = run(command, project, "--output", other, status=2)
    assert "photo.jpg must end in" in said
    assert other.read_bytes() == b"a photo"


@pytest.mark.parametrize("command", ["size", "trim", "rows", "cut", "trim-sheet", "labels"])
def test_a_project_without_blocks_says_so(tmp_path, command):
    run("new", tmp_path / "empty.blockcheck")
    said = run(command, tmp_path / "empty.blockcheck", status=5)
    assert "There are no measured blocks yet." in said
    run("report", tmp_path / "empty.blockcheck")
    assert "There are no measured blocks yet." in (tmp_path / "empty.html").read_text("utf-8")


def test_one_block_has_no_rows_and_says_so(tmp_path):
    path = tmp_path / "one.blockcheck"
    run("new", path)
    (tmp_path / "one.csv").write_text("name,width,height\nA,6,9\n")
    run("import", path, tmp_path / "one.csv")
    assert "once two blocks or more are measured" in run("rows", path, status=5)
    assert run("size", path).startswith("The one block, A, can be trimmed to")


def test_a_missing_project_is_one_sentence(tmp_path):
    for command in ("size", "trim", "rows", "cut", "report"):
        assert "Error: " in run(command, tmp_path / "none.blockcheck", status=3)


def test_a_measured_photo_is_drawn_on_until_it_is_gone(tmp_path):
    photo = tmp_path / "sail.jpg"
    photo.write_bytes((DEMO / "sailboat-1.jpg").read_bytes())
    path = tmp_path / "sails.blockcheck"
    run("new", path, "--card-side", "4in")
    run("add", path, photo)
    run("report", path)
    assert "data:image/jpeg;base64," in (tmp_path / "sails.html").read_text("utf-8")
    photo.unlink()
    run("report", path, "--force")
    page = (tmp_path / "sails.html").read_text("utf-8")
    assert "data:image/jpeg" not in page
    assert "because there is no photo: block 1" in page


def test_a_metric_quilt_is_metric_throughout_and_its_workings_add_up(tmp_path):
    path = tmp_path / "metric.blockcheck"
    run("new", path, "--unit", "cm", "--planned", "16.5x24", "--border", "8", "--sashing", "4")
    rows = "A,16.5,24.1\nB,16.5,24.1\nC,16.4,24.0\nD,16.5,24.1\n"
    (tmp_path / "sizes.csv").write_text("name,width,height\n" + rows)
    run("import", path, tmp_path / "sizes.csv")
    said = run("size", path)
    assert said.startswith("All 4 blocks are the planned 16.5 × 24.0 cm: no trimming needed.")
    assert "not certain enough" not in said  # 1 mm readings are
    cuts = run("cut", path)
    assert "10.2 cm" not in cuts
    assert "30.5 cm" not in cuts
    sums = re.findall(r"(?:(\d+) × )?([\d.]+) cm \+ 2 × ([\d.]+) cm = ([\d.]+) cm", cuts)
    assert len(sums) >= 3
    for many, a, b, total in sums:
        assert float(many or 1) * float(a) + 2 * float(b) == pytest.approx(float(total))


def test_what_is_trimmed_and_not_measured_since_is_named(project):
    run("change", project, "SB-1", "--state", "trimmed")
    said = run("size", project)
    assert "Trimmed but not measured since: SB-1." in said
    said = run("trim", project, "SB-1")
    assert "SB-1: trimmed; photograph it again to check" in said
    assert "edge" not in said.split("SB-1")[1].split("Measure")[0]
    (one,) = json.loads(run("trim", project, "SB-1", "--json"))["trims"]
    assert (one["state"], one["to_cut"]) == ("trimmed", False)


def test_a_piece_without_a_name_has_its_article_and_equal_pieces_are_counted(project):
    run("plan", project, "--alternate", "--rows", "3", "--blocks-per-row", "4")
    said = run("rows", project)
    assert "and the seam after an alternate block in row" in said
    assert "2 × block still to sew (" not in said  # they take turns with alternate blocks
    run("plan", project, "--no-alternate")
    said = run("rows", project)
    assert "row 2: 4 × block still to sew (6 9/32 × 9 1/4 in); " in said


def test_what_is_short_is_never_said_to_leave_a_whole_seam_allowance(tmp_path):
    path = tmp_path / "metric.blockcheck"
    run("new", path, "--unit", "cm", "--planned", "16.5x24")
    (tmp_path / "sizes.csv").write_text("name,width,height\nA,16.4,23.9\n")
    run("import", path, tmp_path / "sizes.csv")
    assert "its seam allowance comes to 0.5 cm where cloth is missing" in run("trim", path)


def test_what_is_not_cut_yet_is_never_to_be_trimmed(tmp_path):
    """Three blocks of a size and a small one: the longer piece beside it is an alternate block."""
    path = tmp_path / "small.blockcheck"
    run("new", path, "--alternate", "--rows", "2", "--blocks-per-row", "4")
    sizes = "name,width,height\nA,6,9\nB,6,9\nC,5 5/8,9\nD,6,9\n"
    (tmp_path / "s.csv").write_text(sizes)
    run("import", path, tmp_path / "s.csv")
    said = run("rows", path)
    assert "is too much to ease: trim the blocks to size first." in said
    assert "trim the alternate block" not in said
    assert "trim alternate block" not in said


def test_a_block_that_is_large_enough_but_crooked_says_so_in_the_list(tmp_path):
    """sailboat-4 leans: from middle to middle it is as planned, and its corner falls short."""
    path = tmp_path / "q.blockcheck"
    run("new", path, "--planned", "6x9", "--card-side", "4in")
    run("add", path, DEMO / "sailboat-4.jpg", "--name", "Gull")
    listed = re.split("  +", run("list", path).splitlines()[2])
    assert listed[-3:-1] == ["0 in", "0 in"]
    assert re.fullmatch(r"not reached: crooked, diagonals \d/\d+ in apart", listed[-1])
    told = run("show", path, "Gull")
    for row in ("top side", "left side", "out of square", "bottom side's bow"):
        assert re.search(rf"^  {row} +[\d/ .]+ in ± 0.0\d+ in$", told, re.M), row
    run("add", path, DEMO / "sailboat-5.jpg", "--name", "Tern")  # its long edges bow
    assert "not reached: crooked, an edge bows by 3/32 in" in run("list", path)
    assert "kind" not in run("list", path)
    run("kind", path, "lighthouse", "--planned", "6x12")
    assert run("list", path).splitlines()[1].startswith("block  kind   state")
    assert run("show", path, "Gull").startswith("Block Gull: measured, block\n")


def test_one_is_said_as_one(tmp_path):
    path = tmp_path / "two.blockcheck"
    run("new", path)
    (tmp_path / "s.csv").write_text("name,width,height\nA,6,9\nB,6 1/2,9 1/2\n")
    run("import", path, tmp_path / "s.csv")
    assert "1 of 2 blocks reaches it, not A." in run("size", path, "--to", "6 1/2 x 9 1/2")
    run("remove", path, "A")
    assert "(trim to): 1 of 1 block\n" in run("size", path)
