"""What all commands have in common: help, exit statuses, what is said where, JSON, completion."""

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from blockcheck.cli import main
from blockcheck.cli.contents import ENTRIES, SECTIONS
from blockcheck.cli.voice import Status

ROOT = Path(__file__).parents[2]
COMMANDS = {name: main.get_command(None, name) for name in main.list_commands(None)}
SIZES = "name,width,height\nSB-1,6 5/16,9 1/4\nSB-2,5 7/8,9 1/4\nSB-3,6 5/8,9 5/16\n"


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """Three blocks measured with a ruler."""
    path = tmp_path_factory.mktemp("sails") / "sails.blockcheck"
    (path.parent / "sizes.csv").write_text(SIZES)
    assert run("new", path, "--planned", "6x9").exit_code == 0
    assert run("import", path, path.parent / "sizes.csv").exit_code == 0
    return path


def test_help_lists_every_command_with_its_whole_summary_in_the_order_of_the_work():
    said = run("-h").output
    for title, entries in SECTIONS:
        assert f"{title}:" in said
        assert all(re.search(rf"^  {e.name} +{re.escape(e.summary)}$", said, re.M) for e in entries)
    assert "..." not in said.replace("[ARGS]...", "")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_s_help_has_placeholders_examples_and_a_page(name):
    said = run(name, "-h").output
    assert ENTRIES[name].summary in said
    assert all(f"blockcheck {line}" in said for line in ENTRIES[name].examples)
    assert ENTRIES[name].page in said
    assert (ROOT / ENTRIES[name].page).exists()
    assert {"--quiet", "--verbose", "--help"} <= set(re.findall(r"--[a-z]+", said))
    assert not re.search(r"--[\w-]+ (TEXT|PATH|INTEGER|FLOAT) ", said.replace("--note TEXT", ""))


@pytest.mark.parametrize(
    "line", [line for e in ENTRIES.values() for line in e.examples], ids=lambda s: s
)
def test_every_example_can_be_parsed(line):
    import shlex

    name, *words = shlex.split(line)
    COMMANDS[name].make_parser(click.Context(COMMANDS[name], info_name=name)).parse_args(words)


def test_the_same_thing_has_the_same_name_everywhere():
    help_of = {}
    for name, command in COMMANDS.items():
        for option in command.params:
            if isinstance(option, click.Option) and option.metavar == "LENGTH":
                help_of.setdefault(option.opts[-1], set()).add(name)
    assert not {"--height", "--within", "--strip"} & set(help_of)
    assert {"measure", "verify", "repeat", "new", "plan"} <= help_of["--tolerance"]
    assert {"measure", "verify", "repeat", "new", "plan"} <= help_of["--cloth-height"]


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["measure", "none.jpg"], Status.PHOTO),
        (["measure"], Status.USAGE),
        (["measure", "none.jpg", "--unit", "yd"], Status.USAGE),
        (["measure", "none.jpg", "--planned", "six"], Status.USAGE),
        (["list", "none"], Status.PROJECT),
        (["show", "PROJECT", "SB-9"], Status.PROJECT),
        (["trim", "PROJECT", "SB-9"], Status.PROJECT),
        (["repeat", "none.csv"], Status.FILE),
        (["card", "--output", "no/such/place.pdf"], Status.FILE),
        (["rows", "EMPTY"], Status.BLOCKS),
    ],
)
def test_each_kind_of_failure_has_its_exit_status(words, status, project, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("new", "empty").exit_code == 0
    there = {"PROJECT": str(project), "EMPTY": "empty"}
    result = run(*(there.get(w, w) for w in words))
    assert result.exit_code == status, result.output
    assert result.stdout == ""  # a refusal is said on stderr
    assert result.stderr
    assert "Traceback" not in result.output


def test_every_exit_status_is_documented():
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert {int(n) for n in re.findall(r"^\| (\d) \|", page, re.M)} == set(Status)


def test_a_wrong_value_is_told_without_the_usage_line_and_a_wrong_word_with_a_guess():
    said = run("measure", "x.jpg", "--fraction", "7").stderr
    assert said.startswith("Error: ")
    assert "Usage" not in said
    assert "Did you mean measure?" in run("mesure").stderr


@pytest.mark.parametrize("name", ["list", "size", "trim", "rows", "cut"])
def test_json_is_one_object_and_nothing_else(name, project):
    result = run(name, project, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    assert found["schema"] == f"blockcheck/{name}-1"
    page = (ROOT / "docs" / "commands.md").read_text("utf-8")
    row = re.search(rf"^\| `{name}` \| (.*) \|$", page, re.M).group(1)
    assert set(found) - {"schema"} <= set(re.findall(r"`(\w+)`", row))


def test_list_s_json_carries_the_sizes(project):
    first = json.loads(run("list", project, "--json").stdout)["blocks"][0]
    assert first["name"] == "SB-1"
    assert first["width_mm"]["value"] == pytest.approx(6.3125 * 25.4, abs=1e-3)
    assert first["width_mm"]["u95"] == pytest.approx(2 * 25.4 / 16 / 12**0.5, rel=0.01)


def test_quiet_leaves_the_answer(project):
    loud, quiet = run("list", project).output, run("list", project, "-q").output
    assert loud.startswith(quiet)
    assert "Measure with the ruler" in loud
    assert "Measure with the ruler" not in quiet


def test_the_shell_completes_commands_without_loading_them():
    found = ShellComplete(main, {}, "blockcheck", "_X").get_completions([], "tr")
    assert [item.value for item in found] == ["trim", "trim-sheet"]


HEAVY = {"numpy", "scipy", "cv2", "PIL", "reportlab", "jinja2", "starlette"}


@pytest.mark.parametrize(
    ("code", "allowed"),
    [
        ("from blockcheck.cli import main; main(['--help'], standalone_mode=False)", set()),
        ("from blockcheck.cli import main; main(['--version'], standalone_mode=False)", set()),
        ("from blockcheck.cli import main; main(['list', 'PROJECT'], standalone_mode=False)", {"numpy"}),
        ("import blockcheck.measuring.measure", {"numpy", "cv2", "PIL"}),
        ("from blockcheck.cli import main; main(['mark', '-h'], standalone_mode=False)", {"numpy", "cv2", "PIL"}),
    ],
)  # fmt: skip
def test_nothing_is_loaded_that_is_not_needed(code, allowed, project):
    """What decides how soon a command begins; docs/benchmarks/startup.py times it."""
    code = code.replace("PROJECT", str(project))
    code += "\nimport sys; print(*(m for m in sys.modules if '.' not in m))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    assert HEAVY & set(done.stdout.splitlines()[-1].split()) <= allowed


def test_without_a_command_the_help_is_shown_line_by_line():
    said = run()
    assert said.exit_code == Status.USAGE
    assert said.output.splitlines() == run("-h").output.splitlines()


def test_files_beside_the_project_have_a_status_of_their_own(project, tmp_path):
    (tmp_path / "bad.csv").write_text("name,width\nA,6\n")
    for words in (
        ("export", project, tmp_path / "no" / "x.csv"),
        ("import", project, tmp_path / "none.csv"),
        ("import", project, tmp_path / "bad.csv"),
    ):
        assert run(*words).exit_code == Status.FILE


def test_every_photo_that_a_profile_lacks_says_why(tmp_path):
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"")
    said = run("lens", tmp_path).output.splitlines()
    assert [line.split(" is empty")[0] for line in said[:2]] == ["LEFT OUT a.jpg", "LEFT OUT b.jpg"]
    assert said[2].startswith("Error: A lens profile needs 5 or more photos")
