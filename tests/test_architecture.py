"""How the parts may lean on each other, read from the sources' own imports."""

import ast
import graphlib
import re
import sys
import tomllib
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "blockcheck"
# each row may use the rows above it; the rooms of one row do not know each other
ROWS = (
    {"units", "errors", "files", "uncertainty", "profiles", "settings"},
    {"vision.photo"},
    {"vision.plane"},
    {"vision.references"},
    {"vision.finding"},
    {"vision.cloth"},
    {"vision.seams"},
    {"measuring"},
    {"planning.solver"},
    {"planning.trimming"},
    {"planning.plan"},
    {"planning.choice"},
    {"planning.rows"},
    {"planning.cutting"},
    {"planning.layouts"},
    {"planning.kinds", "planning.pairs"},
    {"planning.quilt"},
    {"project"},
    {"report"},
    {"page"},
    {"cli"},
)
ROW = {name: i for i, names in enumerate(ROWS) for name in names}
HOMES = {
    "cv2": {"vision", "report"},
    "sqlite3": {"project"},
    "click": {"cli"},
    "segno": {"page"},
    "starlette": {"page"},
    "uvicorn": {"page"},
}
LONGEST = 400  # lines of a module
MODULES = sorted(PACKAGE.rglob("*.py"))
FIXTURES = sorted((PACKAGE.parent / "fixtures").glob("*.py"))


def name_of(path):
    """Return the module's dotted name below the package, as a tuple."""
    return tuple(part for part in path.relative_to(PACKAGE).with_suffix("").parts)


def part_of(path):
    """Return the part of the program that a file belongs to."""
    return name_of(path)[0]


def room_of(name):
    """Return the room of a dotted name below the package: a row's entry."""
    return next((".".join(name[:n]) for n in (2, 1) if ".".join(name[:n]) in ROW), None)


def imports(path):
    """Yield what a file imports as absolute dotted names; ``("blockcheck", "units")``."""
    package = ("blockcheck", *name_of(path)[:-1])
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (tuple(alias.name.split(".")) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            base += tuple(node.module.split(".")) if node.module else ()
            if base == ("blockcheck",):
                yield from ((*base, alias.name) for alias in node.names)
            else:
                yield base


@pytest.mark.parametrize("path", MODULES, ids=lambda p: ".".join(name_of(p)))
def test_imports_point_upwards(path):
    """A module takes from rows above its own, or from its own room."""
    own = name_of(path)
    if own[-1] in ("__init__", "__main__") and len(own) <= 2 and room_of(own) is None:
        return  # the package's own names; started from outside; a house of several rooms
    room = room_of(own)
    assert room is not None, f"{path.name} is in no row of the design"
    for target in imports(path):
        if target[0] != "blockcheck" or len(target) < 2 or target[1].startswith("__"):
            continue
        there = room_of(target[1:])
        assert there is not None, f"{'.'.join(target)} is in no row of the design"
        same = there == room or {there, room} <= ROWS[0]
        assert same or ROW[there] < ROW[room], f"{room} imports {'.'.join(target)}"


def test_no_two_modules_import_each_other():
    """Not even within a room, nor for types alone."""
    names = {("blockcheck", *name_of(p)) for p in MODULES}
    graph = {("blockcheck", *name_of(p)): {t for t in imports(p) if t in names} for p in MODULES}
    list(graphlib.TopologicalSorter(graph).static_order())  # raises CycleError


@pytest.mark.parametrize("path", [*MODULES, *FIXTURES], ids=lambda p: f"{p.parent.name}.{p.stem}")
def test_a_module_is_read_in_one_sitting(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


@pytest.mark.parametrize("library", HOMES)
def test_libraries_stay_at_home(library):
    users = {part_of(p) for p in MODULES for target in imports(p) if target[0] == library}
    assert users <= HOMES[library]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: ".".join(name_of(p)))
def test_only_the_command_line_and_the_page_print(path):
    if part_of(path) in ("cli", "page"):
        return
    calls = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
    lines = [n.lineno for n in calls if isinstance(n.func, ast.Name) and n.func.id == "print"]
    assert not lines, f"{path.name} prints in line {lines}"


def test_page_and_report_are_not_imported_by_the_package_itself():
    """Importing blockcheck stays light: nothing but measuring, if anything."""
    allowed = {"measuring", "errors", "units", "settings", "uncertainty", "vision"}
    found = {t[1] for t in imports(PACKAGE / "__init__.py") if t[0] == "blockcheck" and len(t) > 1}
    assert found <= allowed


def test_every_library_that_is_imported_is_declared():
    """In pyproject.toml, each with the lowest version that .ci/run tries."""
    named = {"PIL": "pillow", "cv2": "opencv-python"}
    text = (PACKAGE.parent / "pyproject.toml").read_text("utf-8")
    declared = {
        line.split(">=")[0].replace("-", "_"): line.split(">=")[1]
        for line in tomllib.loads(text)["project"]["dependencies"]
    }
    used = {t[0] for p in MODULES for t in imports(p)} - sys.stdlib_module_names - {"blockcheck"}
    assert {named.get(u, u).replace("-", "_") for u in used} <= set(declared)


def sentences(tree):
    """Yield the texts of a module that end like sentences, but for docstrings and refusals."""
    kept = set()
    for node in ast.walk(tree):
        refusal = isinstance(node, ast.Call) and ast.unparse(node.func).endswith("Error")
        hint = isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "_HINT"
        docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if refusal or hint or docstring:
            kept |= {id(n) for n in ast.walk(node)}
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and id(node) not in kept and re.search(r"\w \w.*\.$", text):
            yield text


@pytest.mark.parametrize(
    "path", [p for p in MODULES if part_of(p) == "planning"], ids=lambda p: p.stem
)
def test_planning_gives_figures_and_reasons_and_no_sentences_but_refusals(path):
    assert not list(sentences(ast.parse(path.read_text(encoding="utf-8"))))
