"""Fixtures that tests of several rooms share."""

import shutil

import pytest
from hypothesis import HealthCheck, settings

# the same examples every time, and none that fails for being slow
settings.register_profile(
    "same", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("same")

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="module")
def browser():
    """Return a browser without a window; tests that need it are skipped where none is installed.

    It ends with its module: while it is there, nothing else in the process can run asyncio.
    """
    sync_api = pytest.importorskip("playwright.sync_api")
    program = next(filter(None, map(shutil.which, BROWSERS)), None)
    if program is None:
        pytest.skip("no browser is installed (Debian: chromium)")
    with sync_api.sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def window(browser):
    """Return an empty page of the browser, as wide as a phone's unless a test asks for more."""
    found = browser.new_page(viewport={"width": 390, "height": 844})
    yield found
    found.close()


@pytest.fixture(scope="session")
def accessible():
    """Return a function that fails with axe-core's words where a page breaks its rules (WCAG 2.2 AA)."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()

    def check(window):
        found = axe.run(window)
        assert found.violations_count == 0, found.generate_report()

    return check
