"""Wrong inputs: each refused in a sentence that says what to write instead, and nothing kept."""

import re

import pytest
from click.testing import CliRunner

from blockcheck.cli import main

LENGTH = "Write it like 6 1/2in"
SIZE = "like 6x9"
WITH_UNIT = "Write it with its unit"

WRONG = [
    ("plan q --planned 6", SIZE),
    ("plan q --planned 6x", SIZE),
    ("plan q --planned 6x9x2", SIZE),
    ("plan q --planned six_by_nine", SIZE),
    ("plan q --planned 0x9", LENGTH),
    ("plan q --planned 1/0x9", LENGTH),
    ("plan q --planned 6furlongsx9", LENGTH),
    (
        "plan q --planned 600x900",
        "600 × 900 in is not between 0.787 in and 78.7 in. Name the unit",
    ),
    ("plan q --planned 1/4x9", "Give the unfinished size"),
    ("plan q --seam-allowance quarter", LENGTH),
    ("plan q --seam-allowance 5in", WITH_UNIT),
    ("plan q --least-seam 1in", "Write one that is less, like 7/32in"),
    ("plan q --tolerance 20in", WITH_UNIT),
    ("plan q --ruler-line 0", LENGTH),
    ("plan q --ruler-line 10in", WITH_UNIT),
    ("plan q --rows 99999999", "must be 500 or less"),
    ("plan q --rows 0", "must be 1 or more"),
    ("plan q --rows two", "Write it like 5"),
    ("plan q --blocks-per-row 1.5", "Write it like 5"),
    ("plan q --sashing 0", LENGTH),
    ("plan q --sashing 900in", WITH_UNIT),
    ("plan q --border 900in", WITH_UNIT),
    ("plan q --fabric-width 1in", "Write it like 40in"),
    ("plan q --card-side 40in", "40 in is not between 1.97 in and 11.8 in. Name the unit"),
    ("plan q --cloth-height 6in", "6 in is not between 0.000394 in and 0.787 in."),
    ("plan q --setting diagonal", "'straight', 'offset', 'on-point'"),
    ("plan q --allowance 500", "Write it like 10%"),
    ("plan q --trim-to 600x900", WITH_UNIT),
    ("size q --to 6", SIZE),
    ("size q --choose", "say --to WxH too"),
    ("trim q Z", "The blocks are A and B"),
    ("mark q A --point mast 3in", "like 3in,1/4in"),
    ("mark q A --point mast 30in,3in", "Measure from its left and its top edge"),
    ("change q A --name B", "Choose another name"),
    ("labels q -o x.txt", "must end in .pdf"),
    ("labels q -o x.pdf --paper a3", "'letter', 'a4'"),
    ("kind q gull --planned x", SIZE),
    ("plan q --frame middle=2in", "Say top, right, bottom, left"),
    ("plan q --border inside=2in", "Say top, right, bottom, left"),
    ("measure a.jpg --jobs 0", "0 is not 1 or more."),
    ("measure a.jpg --jobs two", '"two" is not a whole number.'),
    ("measure a.jpg --focal wide", '"wide" is not a number.'),
    ("page --port 99999", "99999 is not 0 to 65535."),
    ("verify a.jpg --known 600x900", "Name the unit, like 85.60x53.98mm"),
]


def run(*words):
    return CliRunner().invoke(main, [w.replace("_", " ") for w in words])


@pytest.fixture
def project(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "r.csv").write_text("name,width,height\nA,6,9\nB,6 1/8,9\n")
    assert run("new", "q", "--planned", "6x9").exit_code == 0
    assert run("import", "q", "r.csv").exit_code == 0
    return tmp_path / "q.blockcheck"


@pytest.mark.parametrize(("words", "instead"), WRONG, ids=[words for words, _ in WRONG])
def test_it_is_refused_in_a_sentence_that_says_what_to_write_instead(project, words, instead):
    before = run("export", "q", "before.json"), run("list", "q").output, run("plan", "q").output
    assert before[0].exit_code == 0
    result = run(*words.split())
    said = result.output.strip()
    assert result.exit_code in (2, 3, 5), said
    assert instead in said
    assert len(said.splitlines()) == 1
    assert len(said) < 250
    assert "Traceback" not in said
    assert not re.search(r"\(\d+\.\d|\d\.\d{7,}|None|_mm\b", said)  # nothing of the program's own
    assert (run("list", "q").output, run("plan", "q").output) == before[1:]
