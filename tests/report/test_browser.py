"""The report as a browser shows it."""

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
