"""How the parts may lean on each other, read from the sources' own imports."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "blockcheck"
ROWS = (
    {"units", "errors", "uncertainty", "profiles", "settings"},
    {"vision"},
    {"measure", "gauge"},
    {"checks"},
    {"planning"},
    {"project"},
    {"report"},
    {"page"},
    {"cli"},
)
ROW = {name: i for i, names in enumerate(ROWS) for name in names}
HOMES = {
    "cv2": {"vision", "report"},
    "sqlite3": {"project"},
    "click": {"cli", "page"},
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def name_of(path):
    """Return the module's dotted name below the package, as a tuple."""
    return tuple(part for part in path.relative_to(PACKAGE).with_suffix("").parts)


def part_of(path):
    """Return the part of the program that a file belongs to."""
    return name_of(path)[0]


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
    """A module takes from rows above its own, or from its own part."""
    part = part_of(path)
    if part in ("__init__", "__main__"):  # the package's own names; started from outside
        return
    assert part in ROW, f"{path.name} is in no row of the design"
    for target in imports(path):
        if target[0] != "blockcheck" or len(target) < 2 or target[1].startswith("__"):
            continue
        same = target[1] == part or {target[1], part} <= ROWS[0]
        assert same or ROW[target[1]] < ROW[part], f"{part} imports {'.'.join(target)}"


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
    allowed = {"measure", "errors", "units", "settings", "uncertainty", "vision"}
    found = {t[1] for t in imports(PACKAGE / "__init__.py") if t[0] == "blockcheck" and len(t) > 1}
    assert found <= allowed
