"""The whole job in a real browser: with a finger, with a mouse, and by keyboard alone."""

import re
import sqlite3
from contextlib import closing

import pytest
from browser import axe_violations, chromium, need_browser, visit
from PIL import Image
from serving import PHOTOS, serving

from blockcheck.planning.plan import Plan
from blockcheck.project import Project
from blockcheck.units import INCH

FILES = [str(PHOTOS / f"sailboat-{n}.jpg") for n in (1, 3, 4)]
DRAWN = {
    "blocks": "#slider:not([hidden])",
    "block?name=2": ".handle.corner",
    "photos": "#queue img",
}
LATE = """const real = XMLHttpRequest.prototype.addEventListener;
XMLHttpRequest.prototype.addEventListener = function (kind, done) {
  return real.call(this, kind, kind === "load" ? () => setTimeout(done, 500) : done);
};"""
VIEWS = ("photos", "verify", "blocks", "block?name=2", "rows", "trim", "cut", "plan")


@pytest.fixture(scope="module")
def browser():
    need_browser()
    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    with serving(tmp_path_factory.mktemp("house"), "--phone") as one:
        yield one


class Hand:
    """What a person does with a mouse."""

    def __init__(self, page):
        self.page = page

    def press(self, selector):
        self.page.locator(selector).first.click()

    def drag(self, start, end):
        mouse = self.page.mouse
        mouse.move(*start)
        mouse.down()
        for k in range(1, 5):
            mouse.move(*(a + (b - a) * k / 4 for a, b in zip(start, end, strict=True)))
        self.held()
        mouse.up()

    def held(self):
        """Something to look at while the hand holds it."""

    def tap(self, x, y):
        self.page.mouse.click(x, y)


class Finger(Hand):
    """The same with touch events."""

    def __init__(self, page):
        super().__init__(page)
        self.line = page.context.new_cdp_session(page)

    def press(self, selector):
        self.page.locator(selector).first.tap()

    def touch(self, kind, *at):
        points = [{"x": at[0], "y": at[1]}] if at else []
        self.line.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def drag(self, start, end):
        self.touch("touchStart", *start)
        for k in range(1, 5):
            self.touch("touchMove", *(a + (b - a) * k / 4 for a, b in zip(start, end, strict=True)))
        self.page.wait_for_timeout(150)  # a hand comes to rest before it lets go
        self.held()
        self.touch("touchEnd")

    def tap(self, x, y):
        self.touch("touchStart", x, y)
        self.touch("touchEnd")


def middle(page, selector):
    box = None
    while box is None:  # the view may be drawn anew in between
        page.locator(selector).first.wait_for(state="visible")
        box = page.locator(selector).first.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def go(page, view):
    page.goto(re.sub(r"(/p/[^/]+)/.*", rf"\1/{view}", page.url))


def kept(house, name):
    return Project.open(house.folder / f"{name}.blockcheck")


def begin(page, name):
    """A new quilt with its plan and three measured photos."""
    page.fill("#new-name", name)
    page.press("#new-name", "Enter")
    page.wait_for_url("**/photos")
    assert page.locator(".first").is_visible()
    go(page, "plan")
    page.fill("[name=card_side]", "4 in")
    page.fill("[name=planned_mm]", "6 x 9")
    page.press("[name=planned_mm]", "Enter")
    page.wait_for_selector("#said:not(:empty)")
    go(page, "photos")
    page.set_input_files("#files", FILES)
    page.wait_for_function("() => document.querySelectorAll('#queue .kept').length === 3")
    assert not page.locator(".first").is_visible()


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_from_the_first_photo_to_the_last_cut(browser, house, size):
    name = f"Boats on the {size}"
    with visit(browser, house, size) as page:
        begin(page, name)
        hand = (Finger if size == "phone" else Hand)(page)

        # a corner is dragged: with the loupe beside the hand, the answer is measured anew
        go(page, "block?name=2")
        page.wait_for_selector(".handle.corner")
        before = page.locator("#sizes-title").inner_text()
        hand.press("#held")
        page.evaluate("() => scrollTo(0, 0)")
        start = middle(page, "[data-handle=corner-2]")
        hand.held = lambda: seen.append(page.locator("#loupe").is_visible())
        seen = []
        hand.drag(start, (start[0] - 30, start[1] - 30))
        page.wait_for_selector(".tag.hand")
        assert seen == [True]
        assert page.locator("#sizes-title").inner_text() != before
        hand.press("#undo")
        page.wait_for_selector(".tag.hand", state="detached")
        assert page.locator("#sizes-title").inner_text() == before

        # a point is tapped
        hand.press("[data-tool=point]")
        page.evaluate("() => scrollTo(0, 0)")
        x, y = middle(page, "#picture")
        hand.tap(x, y)
        page.wait_for_selector("[data-handle=point-1]")
        page.wait_for_selector("text=Point 1")
        hand.press("#suggest")
        page.wait_for_selector("#guesses li")
        first = page.locator("#guesses li").first.inner_text()
        assert re.match("1: (point, .* seams meet|centre line): .* from the ", first)
        assert page.locator(".handle.guess text").first.text_content() == "1?"
        with kept(house, name) as quilt:
            assert set(quilt.latest("2").points_mm) == {"1"}
            whats = [e.what for e in quilt.history("2")]
        assert whats == ["measured", "edges set anew", "undone: edges set anew", "points marked"]

        # a larger size is looked at, and chosen
        go(page, "blocks")
        page.wait_for_selector("#slider:not([hidden])")
        first = page.locator("#looked").inner_text()
        page.focus("#row")
        page.keyboard.press("ArrowRight")
        page.wait_for_function(
            "was => document.querySelector('#looked').textContent !== was", arg=first
        )
        assert page.locator(".card.short").count() > 0
        hand.press("#choose")
        page.wait_for_selector("#unchoose:not([hidden])")
        with kept(house, name) as quilt:
            assert quilt.plan.chosen_mm is not None

        # a block changes its place
        go(page, "rows")
        order = page.locator(".place.block")
        assert [t.strip() for t in order.all_text_contents()] == ["1", "2", "3"]
        hand.held = lambda: None
        page.locator(".quilt").evaluate("node => node.scrollIntoView({block: 'center'})")
        hand.drag(middle(page, "[data-block='1']"), middle(page, "[data-block='3']"))
        page.wait_for_function(
            "() => document.querySelector('.place.block text').textContent === '3'"
        )
        with kept(house, name) as quilt:
            assert [b.name for b in quilt.blocks()] == ["3", "2", "1"]
        hand.press("[data-do=undo]")
        page.wait_for_function(
            "() => document.querySelector('.place.block text').textContent === '1'"
        )

        # a cut is ticked, and stays so
        go(page, "trim")
        with page.expect_response("**/do/tick"):
            page.locator(".steps input").first.check()
        page.reload()
        assert page.locator(".steps input").first.is_checked()
        with kept(house, name) as quilt:
            assert len(quilt.ticks()) == 1
        hand.press("[data-state=trimmed]")
        page.wait_for_url(re.compile(r"trim\?name="))
        go(page, "trim?name=1")
        assert page.locator(".verdict").is_visible()
        with kept(house, name) as quilt:
            assert quilt.blocks()[0].state == "trimmed"
            shown = quilt.photo("1").path  # the photos arrive in any order
        if size == "phone":  # one photo says whether it came out right
            page.get_by_role("link", name="Measure it with a photo").click()
            page.wait_for_url("**/photos?again=1&trimmed=yes")
            page.set_input_files("#files", shown)
            page.wait_for_url("**/trim?name=1")
            page.get_by_text("Trimmed, and still").wait_for()

        go(page, "cut")
        assert page.pdf(format="Letter").startswith(b"%PDF")
        with page.expect_download() as download:
            page.get_by_text("Trim sheet").click()
        assert download.value.suggested_filename == f"Boats-on-the-{size}-trim-sheet.pdf"


def test_all_of_it_by_keyboard_alone(browser, house):
    name = "Boats by key"
    with visit(browser, house, "laptop") as page:
        begin(page, name)
        press = page.keyboard.press

        def tab_to(selector, most=80):
            for _ in range(most):
                if page.evaluate("s => document.activeElement.matches(s)", selector):
                    return
                press("Tab")
            raise AssertionError(f"{selector} is not reached by Tab")

        go(page, "block?name=1")
        page.wait_for_selector(".handle.corner")
        tab_to("#held")
        press("Space")
        page.focus("#main")
        tab_to("[data-handle=corner-2]")
        press(
            "Shift+ArrowLeft"
        )  # one key, one step to undo: how fast keys follow is up to the machine
        page.wait_for_selector(".tag.hand")
        assert page.evaluate("() => document.activeElement.dataset.handle") == "corner-2"
        with kept(house, name) as quilt:  # by ten of the photo's own pixels, however it is scaled
            first, moved = (e.kept for e in quilt.history("1"))
            by = moved.measurement.corners_px[2] - first.measurement.corners_px[2]
        assert by == pytest.approx([-10, 0], abs=0.5)
        press("Control+z")
        page.wait_for_selector(".tag.hand", state="detached")
        press("Control+Shift+z")
        page.wait_for_selector(".tag.hand")
        press("Control+z")
        page.wait_for_selector(".tag.hand", state="detached")
        page.focus("#main")
        tab_to("[data-tool=point]")
        press("Enter")
        tab_to("#picture")
        press("Enter")
        page.wait_for_selector("text=Point 1")
        tab_to("[data-handle=point-1]")
        press("Delete")
        page.wait_for_selector("text=No points are marked")

        go(page, "rows")
        tab_to("[data-block='1']")
        press("Enter")
        press("ArrowRight")
        press("Enter")
        page.wait_for_function(
            "() => document.querySelector('.place.block text').textContent === '2'"
        )
        go(page, "trim")
        tab_to(".steps input")
        press("Space")
        tab_to("[data-state=trimmed]")
        press("Enter")
        page.wait_for_url(re.compile(r"trim\?name="))
        with kept(house, name) as quilt:
            assert [b.name for b in quilt.blocks()] == ["2", "1", "3"]
            assert quilt.blocks()[0].state == "trimmed"
            assert len(quilt.ticks()) == 1


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("laptop", "dark")])
def test_every_view_is_open_to_everybody(browser, example, size, scheme):
    with visit(browser, example, size, color_scheme=scheme) as page:
        for path in ("/", *(f"{example.path()}/{view}" for view in VIEWS)):
            page.goto(example.url + path)
            page.wait_for_selector(DRAWN.get(path.rpartition("/")[2], "h1"))
            assert axe_violations(page) == [], path
            wide = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
            assert wide <= 0, f"{path} is wider than the screen"


def test_targets_are_large_enough_for_a_finger(browser, example):
    with visit(browser, example, "phone") as page:
        for view in VIEWS:
            page.goto(f"{example.url}{example.path()}/{view}")
            small = page.evaluate(
                "() => [...document.querySelectorAll('button, .button, select, nav a, label.choice')]"
                ".filter(n => n.offsetParent && n.getBoundingClientRect().height < 44)"
                ".map(n => n.outerHTML.slice(0, 120))"
            )
            assert small == [], view


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_kinds_frames_and_cloth_are_planned_and_ruler_sizes_typed(browser, house, size):
    name = f"Two kinds on the {size}"
    with visit(browser, house, size, refused=True) as page:
        page.fill("#new-name", name)
        page.press("#new-name", "Enter")
        page.wait_for_url("**/photos")
        page.locator("summary", has_text="Measured with a ruler instead?").click()
        for block in ("s", "t"):
            for field, text in (("name", block), ("width", "6"), ("height", "9")):
                page.fill(f"#ruler [name={field}]", text)
            with page.expect_response("**/do/ruler"):
                page.press("#ruler [name=height]", "Enter")
            page.wait_for_function("() => !document.querySelector('#ruler [name=name]').value")

        def keep():
            with page.expect_navigation():
                page.get_by_role("button", name="Save the plan").click()

        go(page, "plan")
        page.fill("[name=frame_mm]", "much")
        with page.expect_response("**/do/plan"):
            page.get_by_role("button", name="Save the plan").click()
        page.wait_for_selector("[name=frame_mm][aria-invalid]:focus")
        page.locator("summary", has_text="Several kinds of blocks").click()
        page.locator("summary", has_text="Another kind of block").click()
        page.fill("[name='new/name']", "tower")
        page.fill("[name='new/planned_mm']", "6 x 9")
        page.fill("[name=frame_mm]", "1 in")
        keep()
        page.locator("summary", has_text="What is cut from which fabric").click()
        page.fill("[name='part/cloth/frame']", "blue")
        keep()
        page.fill("[name='fabric/in_hand/blue']", "fat quarter")
        keep()
        assert axe_violations(page) == []
        go(page, "block?name=t")
        page.locator("summary", has_text="Mark by the ruler").click()
        page.fill("#p-x", "3")
        page.fill("#p-y", "3/8")
        page.press("#p-y", "Enter")
        page.get_by_text("Point 1: 3 in from the left, 3/8 in from the top").wait_for()
        assert axe_violations(page) == []
        page.select_option("#w-kind", "tower")
        with page.expect_response("**/do/note"):
            page.get_by_role("button", name="Save name, kind and note").click()
        go(page, "blocks")
        page.wait_for_selector("#of:not([hidden])")
        page.select_option("#kind", "tower")
        page.wait_for_function(
            "() => document.querySelector('#headline').textContent.includes('The one block, t')"
        )
        page.select_option("#filter", "kind")
        assert page.locator("#set .card:visible").count() == 1
        go(page, "cut")
        page.wait_for_selector("text=The cloth in hand (fat quarter)")
        with kept(house, name) as quilt:
            assert {b.name: b.kind for b in quilt.blocks()} == {"s": "", "t": "tower"}


def test_a_refused_photo_is_mended_by_hand(browser, house):
    """Where no block was found but the card was, corners set by hand are kept as such."""
    photo = PHOTOS.parents[1] / "fixtures" / "photos" / "no-block.jpg"
    with visit(browser, house, "laptop") as page:
        page.fill("#new-name", "Mended")
        page.press("#new-name", "Enter")
        page.wait_for_url("**/photos")
        page.set_input_files("#files", [str(photo)])
        page.wait_for_selector("#queue .refused")
        assert page.locator("#queue .refused .warn").inner_text()
        page.get_by_role("link", name="Mend by hand").click()
        page.wait_for_selector(".handle.corner")
        assert axe_violations(page) == []
        page.locator("#held").check()
        for k in range(4):
            x, y = middle(page, f"[data-handle=corner-{k}]")
            page.mouse.move(x, y)
            page.mouse.down()
            page.mouse.move(x + 12, y + 9)
            page.mouse.up()
        page.click("#measure")
        page.wait_for_url("**/block?name=1")
        page.wait_for_selector(".tag.hand")
        with kept(house, "Mended") as quilt:
            assert quilt.latest("1").measurement.by_hand

        # once more: what came of it is told before the answer to the upload, and stays
        page.add_init_script(LATE)
        go(page, "photos")
        page.set_input_files("#files", [str(photo)])
        page.wait_for_selector("#queue .known")
        page.wait_for_selector("#queue .sending", state="detached")
        assert page.locator("#queue .known").count() == 1


@pytest.mark.parametrize("size", ["phone"])
def test_several_photos_of_one_block_are_measured_together(browser, house, size, tmp_path):
    """Chosen in two goes, as a camera gives them; then once more for a block that is known."""
    name = f"Together on the {size}"
    files = [tmp_path / f"{n}.jpg" for n in range(3)]
    for n, file in enumerate(files):  # the camera upright, upside down, and another file
        Image.open(FILES[0]).rotate(180 * n).save(file, quality=95 - n)
    with visit(browser, house, size) as page:
        page.fill("#new-name", name)
        page.press("#new-name", "Enter")
        page.wait_for_url("**/photos")
        with page.expect_response("**/do/plan"):
            page.evaluate(
                "url => fetch(url, {method: 'POST', headers: {'content-type': 'application/json'},"
                " body: JSON.stringify({entries: {card_side: '4 in'}})})",
                re.sub(r"/photos$", "/do/plan", page.url),
            )
        page.check("#together")
        assert page.locator("#measure-set").is_disabled()
        for n in (1, 2):
            page.set_input_files("#files", str(files[n - 1]))
            page.get_by_role("heading", name=f"{n} photo{'s'[: n != 1]} of one block").wait_for()
        assert axe_violations(page) == []
        page.click("#measure-set")
        page.wait_for_selector("#queue .kept")
        assert "0.jpg and 1.jpg together" in page.locator("#queue .kept").inner_text()
        assert not page.locator("#together").is_checked()
        go(page, "block?name=1")
        page.get_by_role("link", name="Measure it from several photos").click()
        page.wait_for_url("**/photos?again=1&together=yes")
        page.set_input_files("#files", [str(file) for file in files[1:]])
        page.get_by_role("heading", name="2 photos of one block").wait_for()
        page.reload()  # they wait
        page.get_by_role("heading", name="2 photos of one block").wait_for()
        page.click("#measure-set")
        page.wait_for_selector("#queue .kept >> text=1.jpg and 2.jpg together")
        with kept(house, name) as quilt:
            assert [b.name for b in quilt.blocks()] == ["1"]
            details = [e.detail for e in quilt.history("1")]
    assert details == ["together: 0.jpg, 1.jpg", "together: 1.jpg, 2.jpg"]


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_a_table_and_a_whole_project_are_brought_in(browser, house, size, tmp_path):
    name, copy = f"Tables on the {size}", f"Copied on the {size}"
    table = tmp_path / "ruler.csv"
    table.write_text("name,width,height,unit\nGull,6 1/8,9,in\nMast,15.6,23,cm\n")
    with visit(browser, house, size) as page:
        page.fill("#new-name", name)
        page.press("#new-name", "Enter")
        page.wait_for_url("**/photos")
        page.locator("summary", has_text="Measured with a ruler instead?").click()
        for said in ("New measurements: Gull, Mast.", "Everything in ruler.csv is already in."):
            page.set_input_files("#table", str(table))
            page.wait_for_selector(f"#said:has-text('{said}')")
        go(page, "cut")
        with page.expect_download() as download:
            page.get_by_text("The whole project (JSON)").click()
        page.goto(house.url)
        assert axe_violations(page) == []
        page.fill("#new-name", copy)
        page.set_input_files("#bring", download.value.path())
        page.wait_for_url("**/blocks")
        go(page, "check")
        page.wait_for_selector(f"text={copy}.blockcheck: 2 blocks, nothing is damaged.")
        with kept(house, copy) as brought, kept(house, name) as own:
            assert [b.width_mm for b in brought.blocks()] == [b.width_mm for b in own.blocks()]


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_a_damaged_project_is_mended_into_a_copy(browser, house, size):
    name = f"Damaged on the {size}"
    with Project.create(house.folder / name, Plan(card_side=4 * INCH)) as quilt:
        for block in ("Gull", "Mast"):
            quilt.add_ruler(block, "6", "9")
    with closing(sqlite3.connect(quilt.path)) as db, db:
        db.execute("UPDATE measurement SET sizes = '{' WHERE id = 1")
    with visit(browser, house, size) as page:
        page.goto(house.url)
        page.get_by_role("link", name=f"See what is sound in {name}").click()
        page.wait_for_selector("text=block Gull: measure it again")
        page.wait_for_selector("text=block Mast: 6 in")
        assert axe_violations(page) == []
        page.click("#mend")
        page.wait_for_selector("text=block Gull: NOT mended")
        page.get_by_role("link", name=f"Open {name}-mended").click()
        page.wait_for_selector("h1:has-text('Blocks')")
    with kept(house, f"{name}-mended") as mended:
        assert [b.name for b in mended.blocks()] == ["Mast"]
