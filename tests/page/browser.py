"""A real browser for the tests: the system's Chromium, without a window."""

import contextlib
import shutil
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True},
    "laptop": {"viewport": {"width": 1440, "height": 900}},
}


def need_browser():
    """Skip, and say why, where no browser is."""
    pytest.importorskip("playwright", reason="no playwright: pip install '.[test]'")
    if CHROMIUM is None:
        pytest.skip("no chromium: apt-get install chromium")


@contextlib.contextmanager
def chromium():
    """A started browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@contextlib.contextmanager
def visit(browser, served, size, *, refused=False, **more):
    """A page that has been let in; what goes wrong in it fails the test.

    Where something is `refused` in words (status 400), that is no failure.
    """
    context = browser.new_context(**SIZES[size], reduced_motion="reduce", **more)
    context.set_default_timeout(120_000)  # a slow machine
    page = context.new_page()
    wrong = []

    def told(message):
        return refused and "status of 400" in message.text

    page.on("pageerror", lambda e: wrong.append(str(e)))
    page.on(
        "console", lambda m: wrong.append(m.text) if m.type == "error" and not told(m) else None
    )
    page.on("request", lambda r: elsewhere(r.url, served, wrong))
    try:
        page.goto(served.address)
        page.wait_for_selector("h1")  # the entry has led on
        page.wait_for_load_state("load")
        yield page
        assert not wrong, wrong
    finally:
        context.close()


def elsewhere(url, served, wrong):
    if not url.startswith((served.url, "blob:", "data:")):
        wrong.append(f"asked {url}")


def axe_violations(page):
    """What axe-core finds against WCAG 2.2 AA, each in a line."""
    import axe_playwright_python

    source = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text("utf-8")
    page.evaluate(source)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = page.evaluate("tags => axe.run(document, {runOnly: tags})", tags)
    return [
        f"{v['id']}: {n['target']} {n.get('failureSummary', '')}"
        for v in found["violations"]
        for n in v["nodes"]
    ]
