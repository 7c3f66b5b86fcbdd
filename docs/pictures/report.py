"""Draw the picture of the report in docs/report.md: the top of it, then its first block."""

import subprocess
import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

sys.path.append(str(Path(__file__).resolve().parents[2] / "tests" / "page"))

from browser import chromium

ROOT = Path(__file__).resolve().parents[2]
WIDE, APART = 760, 24  # pixels
PLAN = ("--planned", "6x9", "--card-side", "4in", "--sashing", "1.5in", "--border", "3in")


def run(folder: str, *words: str) -> None:
    """Run a command of the program there."""
    command = [sys.executable, "-m", "blockcheck", *words]
    subprocess.run(command, cwd=folder, check=True, capture_output=True)


def main() -> None:
    """Make the report of the six sailboat photos and look at it."""
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        run(folder, "new", "sails", *PLAN)
        run(folder, "add", "sails", str(ROOT / "blockcheck" / "demo_photos"))
        run(folder, "report", "sails")
        page = browser.new_page(viewport={"width": WIDE, "height": 1000}, color_scheme="light")
        page.goto((Path(folder) / "sails.html").as_uri())
        whole = Image.open(BytesIO(page.screenshot(full_page=True))).convert("RGB")
        sizes, block = (page.locator(q).first.bounding_box() for q in ("table", "article.block"))
        top = round(sizes["y"] + sizes["height"]) + 4
        trim = round(page.locator("#trim").bounding_box()["y"]) - APART
        below = round(block["y"] + block["height"]) - trim
        picture = Image.new("RGB", (WIDE, top + below), "white")
        picture.paste(whole.crop((0, 0, WIDE, top)), (0, 0))
        picture.paste(whole.crop((0, trim, WIDE, trim + below)), (0, top))
        picture.quantize(64).save(ROOT / "docs" / "pictures" / "report.png", optimize=True)


if __name__ == "__main__":
    main()
