"""PDFs that a screen reader can read, as Poppler reads them."""

import re
import shutil
import subprocess

import pytest
from test_report import PLAN, SIX

from blockcheck.planning.quilt import work_out
from blockcheck.report.card_sheet import write_card, write_sheet
from blockcheck.report.labels import write_labels
from blockcheck.report.trim_sheet import write_trim_sheet

pytestmark = pytest.mark.skipif(
    shutil.which("pdfinfo") is None, reason="pdfinfo (poppler-utils) is not installed"
)


def pdfinfo(*words):
    return subprocess.run(["pdfinfo", *words], capture_output=True, text=True, check=True).stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("pdfs")
    write_trim_sheet(place / "trim.pdf", work_out(PLAN, SIX), title="Sailboats")
    write_labels(place / "labels.pdf", work_out(PLAN, SIX), title="Sailboats")
    write_card(place / "card.pdf", "AB", "letter")
    write_sheet(place / "sheet.pdf", "a4")
    return place


@pytest.mark.parametrize("name", ["trim", "labels", "card", "sheet"])
def test_it_is_tagged_and_has_a_title_and_an_author(folder, name):
    said = pdfinfo(folder / f"{name}.pdf")
    assert re.search(r"^Tagged: +yes$", said, re.M)
    assert re.search(r"^Author: +blockcheck$", said, re.M)
    assert re.search(r"^Title: +\S", said, re.M)


def test_the_trim_sheet_is_read_in_order(folder):
    said = pdfinfo("-struct-text", folder / "trim.pdf")
    kinds = re.findall(r"^  (\w+)", said, re.M)
    assert kinds[:3] == ["P", "H1", "P"]
    assert kinds.count("Figure") == len(SIX)
    assert re.findall(r'"(SB-\d) ?"', said) == [b.name for b in SIX]
    assert re.search(r"with the two +edges", said)


def test_what_is_drawn_is_said_in_words(folder):
    data = (folder / "trim.pdf").read_bytes()
    assert data.count(b"/Alt (SB-") == len(SIX)
    assert b"/Alt (card A" in (folder / "card.pdf").read_bytes()
