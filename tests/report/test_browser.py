"""The report as a browser shows it."""

import re
import shutil
import subprocess
from dataclasses import replace

import pytest
from test_report import PLAN, SIX

from blockcheck.planning.quilt import work_out
from blockcheck.report.html import report_html


@pytest.fixture(scope="module")
def html():
    return report_html(work_out(PLAN, SIX), SIX, title="Sailboats")


@pytest.mark.parametrize("width", [360, 1280])
def test_no_rule_of_accessibility_is_broken_and_nothing_sticks_out(html, window, accessible, width):
    window.set_viewport_size({"width": width, "height": 900})
    window.set_content(html)
    accessible(window)
    assert window.evaluate("document.documentElement.scrollWidth") <= width


def test_what_is_drawn_can_be_read_and_the_boxes_ticked(html, window):
    window.set_content(html)
    for block in SIX:
        figure = window.locator("figure svg", has_text=f"{block.name} with its trim lines")
        assert figure.count() == 1
        row = window.locator("table", has_text="Measured sizes").locator("tr", has_text=block.name)
        assert "±" in row.inner_text()
        assert (
            window.locator("table", has_text="as drawn", has=window.locator("caption"))
            .filter(has_text=block.name)
            .count()
        )
    boxes = window.get_by_role("checkbox")
    assert boxes.count() > len(SIX)
    window.get_by_role("checkbox", name=re.compile("SB-1")).check()
    assert boxes.first.is_checked()


def test_no_row_of_a_table_is_alone_on_a_printed_page(window, tmp_path):
    many = tuple(replace(SIX[i % 6], name=f"SB-{i:02d}", note="") for i in range(34))
    window.set_content(report_html(work_out(PLAN, many), many, title="Many"))
    window.pdf(path=tmp_path / "r.pdf", prefer_css_page_size=True)
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    text = subprocess.run(
        [pdftotext, "-layout", tmp_path / "r.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    rows = [len(re.findall(r"^ *SB-\d\d  +[\d /]+in ± ", page, re.M)) for page in text.split("\f")]
    assert sum(rows) == len(many)
    assert 1 not in rows
    assert len([n for n in rows if n]) > 1
