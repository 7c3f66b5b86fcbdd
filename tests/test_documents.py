"""What README and docs say can be done: commands run, options exist, codes are all there."""

import ast
import doctest
import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from blockcheck import errors
from blockcheck.cli import main

ROOT = Path(__file__).resolve().parents[1]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
COMMANDS = {name: main.get_command(None, name) for name in main.list_commands(None)}
TEXT = {page.name: page.read_text("utf-8") for page in PAGES}


def blocks(page, *languages):
    """Fenced blocks of a page."""
    fence = r"^```(\w+)\n(.*?)^```$"
    found = re.findall(fence, TEXT[page], re.MULTILINE | re.DOTALL)
    return [body for language, body in found if language in languages]


def commands(page):
    """Every command line a page names, in blocks and in sentences, as words after blockcheck."""
    lines = "\n".join(blocks(page, "sh", "console")).splitlines()
    lines += re.findall(r"`([^`\n]+)`", TEXT[page])
    found = re.findall(r"(?:^|[ /])blockcheck ([a-z].*)", "\n".join(lines), re.MULTILINE)
    return [shlex.split(words) for words in found]


ALL = [pytest.param(words, id=f"{p}: {' '.join(words)}") for p in TEXT for words in commands(p)]


@pytest.mark.parametrize("words", ALL)
def test_every_command_named_exists_with_its_options(words):
    name, *rest = words
    command = COMMANDS[name]
    # click keeps the help option that a context first asks for, here for all tests that follow
    context = click.Context(command, info_name=name, **command.context_settings)
    command.make_parser(context).parse_args(list(rest))  # raises what a wrong option raises


def options_of(*names):
    return {
        option
        for name in names
        for parameter in COMMANDS[name].params
        for option in (*parameter.opts, *parameter.secondary_opts)
        if option.startswith("--")
    }


@pytest.mark.parametrize("page", TEXT)
def test_every_option_named_exists(page):
    elsewhere = {"--python"}  # of other programs
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", TEXT[page])) - elsewhere
    assert named <= options_of(*COMMANDS) | {"--help", "--version"}


def test_every_option_of_measuring_is_in_the_docs():
    everything = "\n".join(TEXT.values())
    named = set(re.findall(r"--[a-z][a-z-]+", everything))
    commands_ = ("measure", "card", "demo", "verify", "repeat", "lens")
    assert options_of(*commands_) <= named
    for name in COMMANDS:
        assert f"blockcheck {name}" in everything


@pytest.mark.parametrize("page", TEXT)
def test_links_lead_somewhere(page):
    place = ROOT if page == "README.md" else ROOT / "docs"
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", TEXT[page]):
        assert target.startswith("https://") or (place / target).exists(), target


# --- README ----------------------------------------------------------------------------------


def test_the_two_set_up_commands_have_their_shape():
    """They build an environment, which no test does; their last parts are run elsewhere."""
    first, second = (block.strip() for block in blocks("README.md", "sh")[:2])
    make = r"python3 -m venv \.venv && \.venv/bin/pip install -q "
    assert re.fullmatch(make + r"\. && \.venv/bin/blockcheck measure .*", first)
    assert re.fullmatch(make + r"-e '\.\[test\]' && \.venv/bin/python -m pytest", second)


def test_the_readmes_main_command_measures_every_photo(monkeypatch):
    words = shlex.split(blocks("README.md", "sh")[0].split("blockcheck", 1)[1])
    monkeypatch.chdir(ROOT)
    run = CliRunner().invoke(main, words)
    assert run.exit_code == 0, run.output
    assert run.output.count("  width  ") == 6
    assert "NOT MEASURED" not in run.output


# --- Python and commands of the pages that are tested nowhere else ------------------------------


@pytest.fixture
def copy(tmp_path, monkeypatch):
    """Stand in a folder with the repository's photos, where commands may write."""
    for folder in ("blockcheck/demo_photos", "fixtures/photos"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_snippets_of_python_md_run_in_turn(copy, capsys):
    names = {}
    for snippet in blocks("python.md", "python"):
        exec(compile(snippet, "python.md", "exec"), names)
    out = capsys.readouterr().out
    assert re.search(r"^6 in$", out, re.MULTILINE)
    assert "('yes', 'yes')" in out
    assert "no_reference" in out
    assert (copy / "measured.png").stat().st_size > 10_000


def test_the_worked_budget_is_true():
    path = ROOT / "docs" / "uncertainty.md"
    result = doctest.testfile(str(path), module_relative=False, encoding="utf-8")
    assert result.attempted >= 6
    assert result.failed == 0


def test_every_term_of_a_budget_is_explained(copy):
    (words,) = [w for w in commands("uncertainty.md") if "--budget" in w]
    run = CliRunner().invoke(main, words)
    assert run.exit_code == 0, run.output
    named = set(re.findall(r"^    ([a-z][a-z ]+?)  +[\d.]+ in$", run.output, re.MULTILINE))
    explained = set(re.findall(r"^\| ([a-z ]+?) \|", TEXT["uncertainty.md"], re.MULTILINE))
    assert len(named) >= 6
    assert named <= explained


# --- codes -----------------------------------------------------------------------------------


def raised_codes():
    """Return the codes of the tree of errors, its two roots left out."""
    waiting, found = [errors.BlockcheckError], set()
    while waiting:
        waiting += (subclasses := waiting.pop().__subclasses__())
        found |= {c.code for c in subclasses if c is not errors.MeasureError}
    return found


def warning_codes():
    """Return the codes that the package's sources give to `Problem` as words."""
    found = set()
    for path in (ROOT / "blockcheck").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Problem":
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant):
                    found.add(first.value)
    return found


def test_every_code_is_in_problems_md_and_none_that_is_not():
    listed = set(re.findall(r"^\| `(\w+)` \|", TEXT["problems.md"], re.MULTILINE))
    assert len(warning_codes()) >= 5
    assert listed == raised_codes() | warning_codes()


def test_every_code_of_a_photo_is_raised_somewhere():
    """A documented reason that can never come would mislead."""
    source = "\n".join(
        path.read_text("utf-8")
        for path in (ROOT / "blockcheck").rglob("*.py")
        if path.name != "errors.py"
    )
    for error in errors.MeasureError.__subclasses__():
        assert f"{error.__name__}(" in source, error.code
    assert "def plane_of" in source
