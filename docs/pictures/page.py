"""Draw the pictures of the page in README and docs/page.md: the example quilt in a real browser."""

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image

sys.path.append(str(Path(__file__).resolve().parents[2] / "tests" / "page"))

from browser import chromium, visit
from serving import serving, until

PICTURES = Path(__file__).parent
EXAMPLE = "/p/Sailboats%20(example)"


def write(page, name: str, size: tuple[int, int]) -> None:
    """Write what the screen shows as a picture."""
    page.wait_for_timeout(1500)  # trim lines and large photos come after the rest
    shown = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    shown.resize(size, Image.Resampling.LANCZOS).save(PICTURES / f"page-{name}.jpg", quality=85)


def main() -> None:
    """Measure the example and look at three views."""
    with tempfile.TemporaryDirectory() as folder, serving(folder) as served, chromium() as browser:
        with served.client() as client:
            client.post("/new", json={"example": True})
            until(
                lambda: client.get(f"{EXAMPLE}/photos.json").json()["items"],
                lambda items: all(i["state"] == "kept" for i in items),
            )
        with visit(browser, served, "phone", color_scheme="light") as page:
            page.goto(served.url + EXAMPLE + "/block?name=2")
            page.wait_for_selector(".handle.corner")
            write(page, "block", (390, 844))
            page.goto(served.url + EXAMPLE + "/trim?name=1")
            write(page, "trim", (390, 844))
        with visit(browser, served, "laptop", color_scheme="light") as page:
            page.goto(served.url + EXAMPLE + "/blocks")
            page.wait_for_selector("#slider:not([hidden])")
            page.focus("#row")
            page.keyboard.press("ArrowRight")
            page.evaluate("() => document.activeElement.blur()")
            write(page, "set", (1000, 625))


if __name__ == "__main__":
    main()
