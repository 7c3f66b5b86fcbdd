"""Commands in what is said can be copied as they stand, whatever the project is called."""

import ast
import re
import shlex
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

import blockcheck
from blockcheck.cli import main

QUILT = "my aunt's quilt.blockcheck"
SAID = [
    (("new", QUILT, "--planned", "6x9"), "add"),
    (("show", QUILT, "no such"), "list"),
    (("trim", QUILT, "A b"), None),
    (("size", QUILT, "--to", "5 7/8x8 7/8", "--choose"), "plan"),
    (("remove", QUILT, "A b"), "restore"),
    (("list", QUILT), "restore"),
    (("mark", QUILT, "A b", "--point", "mast", "3in,1in"), "restore"),
    (("restore", QUILT, "A b"), None),
    (("change", QUILT, "A b", "--kind", "gull"), "kind"),
    (("kind", QUILT, "block", "--planned", "6x9"), "plan"),
]


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Return what each command says on a project whose name a shell would part."""
    with pytest.MonkeyPatch.context() as here:
        here.chdir(tmp_path_factory.mktemp("quilts"))
        run = CliRunner().invoke
        said = [run(main, list(SAID[0][0])).output]
        Path("sizes.csv").write_text("name,width,height\nA b,6,9\nc,6,9\n", encoding="utf-8")
        run(main, ["import", QUILT, "sizes.csv"])
        said += [run(main, list(words)).output for words, _ in SAID[1:]]
        file = sqlite3.connect(QUILT)
        file.execute("UPDATE block SET name = 'x' WHERE name = 'c'")
        file.commit()
        file.close()
        said += [run(main, ["list", QUILT]).output, run(main, ["check", QUILT]).output]
    return dict(zip([*SAID, ((), "list"), ((), "check")], said, strict=True))


@pytest.mark.parametrize("case", [*SAID, ((), "check")], ids=lambda c: " ".join(c[0]) or "damaged")
def test_a_command_that_is_said_names_the_project_as_one_word(told, case):
    said = told[case]
    named = re.findall(r"(?<!\.)blockcheck ([a-z-]+) (.*)", said)
    assert [c for c, _ in named] == ([case[1]] if case[1] else []), said
    for _, rest in named:
        words = shlex.split(rest.removesuffix(")"))
        assert words[0] == QUILT
        if "A b" in rest:
            assert "A b" in words


def test_no_sentence_puts_a_name_into_a_command_unquoted():
    for path in Path(blockcheck.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.JoinedStr):
                before = ""
                for part in node.values:
                    if isinstance(part, ast.Constant):
                        before = str(part.value)
                    else:
                        assert not re.search(r"blockcheck [a-z-]+ $", before), (path, node.lineno)
