"""No sentence on the page tells a person to type something."""

import ast
import re
from pathlib import Path

import pytest

import blockcheck
from blockcheck.cli.contents import ENTRIES
from blockcheck.page.wording import on_page

PACKAGE = Path(blockcheck.__file__).parent
TYPED = re.compile(rf"--[a-z]|blockcheck ({'|'.join(ENTRIES)})\b")
ELSEWHERE = {"cli", "page/serving.py", "report/card_sheet.py"}  # in a terminal, on printed paper


def sentences(path):
    """The module's texts, with a word for each thing that is filled in; without docstrings."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    inner = {id(v) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for v in n.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(v.value if isinstance(v, ast.Constant) else "X" for v in node.values)
        elif isinstance(node, ast.Constant) and id(node) not in docs | inner:
            yield node.value if isinstance(node.value, str) else ""


MODULES = [
    path
    for path in sorted(PACKAGE.rglob("*.py"))
    if not any(str(path.relative_to(PACKAGE)).startswith(one) for one in ELSEWHERE)
]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_what_the_command_line_has_typed_is_said_otherwise(path):
    if path.name != "wording.py":
        for text in sentences(path):
            assert not TYPED.search(on_page(text)), text
