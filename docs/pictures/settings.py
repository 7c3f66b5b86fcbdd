"""Draw the pictures of the pages about settings, each from the example on its page."""

import doctest
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from blockcheck.report.quilt_picture import quilt_picture

DOCS = Path(__file__).resolve().parents[1]


def drawn(page: Path) -> tuple[doctest.TestResults, str]:
    """Run a page's example; return how it went, and the quilt that it describes as SVG."""
    names: dict = {}
    test = doctest.DocTestParser().get_doctest(
        page.read_text("utf-8"), names, page.name, str(page), 0
    )
    result = doctest.DocTestRunner().run(test, clear_globs=False)
    return result, quilt_picture(test.globs["quilt"], test.globs["plan"])


def picture_of(page: Path) -> Path:
    """Return where a page's picture lies."""
    return DOCS / "pictures" / f"{page.stem}.svg"


if __name__ == "__main__":
    for page in sorted(DOCS.glob("setting-*.md")):
        picture_of(page).write_text(drawn(page)[1] + "\n", encoding="utf-8")
