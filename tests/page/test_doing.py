"""What is done on the page is in the project file, and what makes no sense is refused."""

import csv
import html
import io
import json
import re

import numpy as np
import pytest
from PIL import Image
from serving import PHOTOS, until

from blockcheck.project import Project
from blockcheck.project.places import read_place
from blockcheck.units import INCH

NAME = "Deeds"
PATH = f"/p/{NAME}"


@pytest.fixture(scope="module")
def deeds(served):
    """A client with a project of three measured blocks."""
    with served.client() as client:
        assert client.post("/new", json={"name": NAME}).status_code == 200
        entries = {"card_side": "4 in", "planned_mm": "6 x 9"}
        assert client.post(f"{PATH}/do/plan", json={"entries": entries}).status_code == 200
        for n in (1, 3, 5):
            send(client, (PHOTOS / f"sailboat-{n}.jpg").read_bytes(), f"{n}.jpg")
        yield client


@pytest.fixture
def quilt(served, deeds):
    with Project.open(served.folder / f"{NAME}.blockcheck") as one:
        yield one


def send(client, body, name, query=""):
    answer = client.post(f"{PATH}/photos?name={name}{query}", content=body)
    assert answer.status_code == 201, answer.text
    number = answer.json()["id"]
    return until(lambda: item(client, number), lambda i: i["state"] not in ("waiting", "measuring"))


def item(client, number):
    items = client.get(f"{PATH}/photos.json").json()["items"]
    return next((i for i in items if i["id"] == number), None)


def do(client, action, **given):
    return client.post(f"{PATH}/do/{action}", json=given)


def test_blocks_are_numbered_as_their_photos_were_taken_in(deeds, quilt):
    names = {quilt.photo(b.name).path.name: b.name for b in quilt.blocks()}
    assert names == {"1.jpg": "1", "3.jpg": "2", "5.jpg": "3"}


def test_a_side_put_by_hand_is_marked_and_keeps_the_marks_in_the_photo(deeds, quilt):
    block = next(b for b in quilt.blocks() if b.name == "2")
    place = [float(v) for v in block.corners_px.mean(axis=0)]
    assert do(deeds, "marks", name="2", points={"mast": place}).status_code == 200
    corners = block.corners_px + np.array([[-12, 0], [0, 0], [0, 0], [-12, 0]])
    given = {"name": "2", "corners": corners.tolist(), "held": [3], "show": "block?name=2"}
    answer = do(deeds, "edges", **given)
    data = answer.json()["data"]
    assert data["held"] == [3]
    assert "set by hand" in answer.json()["part"]
    np.testing.assert_allclose(data["points"]["mast"], place, atol=0.1)
    kept = quilt.latest("2")
    assert kept.measurement.by_hand
    assert kept.width_mm.u95 > block.width_mm.u95 + 1
    assert quilt.history("2")[-1].detail == "by hand: left"
    for _ in range(2):
        assert do(deeds, "undo", of="2").status_code == 200
    back = next(b for b in quilt.blocks() if b.name == "2")
    assert (back.width_mm, dict(back.points_mm)) == (block.width_mm, {})


def test_the_centre_line_is_kept_and_a_mark_off_the_cloth_is_not(deeds, quilt):
    block = next(b for b in quilt.blocks() if b.name == "1")
    top, bottom = block.corners_px[:2].mean(axis=0), block.corners_px[2:].mean(axis=0)
    assert do(deeds, "marks", name="1", line=[top.tolist(), bottom.tolist()]).status_code == 200
    assert quilt.latest("1").centre_line_mm is not None
    assert do(deeds, "marks", name="1", points={"a": [1.0, 1.0]}).status_code == 400
    assert do(deeds, "marks", name="1", line=[top.tolist(), top.tolist()]).status_code == 400
    assert do(deeds, "marks", name="1", line=None).status_code == 200
    assert quilt.latest("1").centre_line_mm is None


def test_marks_by_the_ruler_lie_where_the_command_line_puts_them(deeds, quilt):
    block = next(b for b in quilt.blocks() if b.name == "1")
    point = {"name": "1", "point": "bow", "across": ["right", "1/4"], "down": ["top", "2,5 cm"]}
    assert do(deeds, "by_ruler", **point).status_code == 200
    wanted = read_place("right 1/4in,top 2.5cm", block, "in")
    np.testing.assert_allclose(quilt.latest("1").points_mm["bow"], wanted)
    line = {"name": "1", "line": ["top", "4 1/2", "4 1/2"]}
    part = do(deeds, "by_ruler", **line, show="block?name=1").json()["part"]
    assert "Point bow: 1/4 in from the right" in html.unescape(part).replace("\xa0", " ")
    ends = quilt.latest("1").centre_line_mm
    for end, place in zip(ends, ("0,4 1/2in", "right 0,4 1/2in"), strict=True):
        np.testing.assert_allclose(end, read_place(place, block, "in"))
    for wrong in (["left", "9"], ["left", "much"], ["top", "1"]):
        assert do(deeds, "by_ruler", **{**point, "across": wrong}).status_code == 400, wrong
    assert do(deeds, "unmark", name="1", point="bow").status_code == 200
    assert do(deeds, "unmark", name="1", point="bow").status_code == 400
    assert do(deeds, "unmark", name="1").status_code == 200
    assert (quilt.latest("1").points_mm, quilt.latest("1").centre_line_mm) == ({}, None)


def test_seams_are_suggested_in_the_photo(deeds, quilt):
    found = do(deeds, "suggest", name="3").json()
    corners = next(b for b in quilt.blocks() if b.name == "3").corners_px
    places = np.array([*found["points"], *(found["line"] or [])])
    assert len(places)
    assert (places > corners.min(axis=0) - 5).all()
    assert (places < corners.max(axis=0) + 5).all()
    assert quilt.latest("3").points_mm == {}  # none of them is marked
    assert len(found["said"]) == len(found["points"]) + (found["line"] is not None)
    assert all(re.search(" from the (left|right|top|bottom)", said) for said in found["said"])
    assert all(said.endswith("\xa0in)") for said in found["said"])  # its ±


def test_a_photo_of_another_block_is_refused_in_the_pages_own_words(deeds):
    body = (PHOTOS / "sailboat-1.jpg").read_bytes()
    refused = send(deeds, body, "1.jpg", "&again=3")
    assert refused["state"] == "refused"
    assert refused["said"][1] == "Open block 1, and photograph it again."


def test_a_block_photographed_again_is_asked_about_and_never_assumed(deeds, quilt):
    with Image.open(PHOTOS / "sailboat-5.jpg") as picture:
        out = io.BytesIO()
        picture.point(lambda v: v * 0.93).save(out, "JPEG", quality=93, exif=picture.getexif())
    new = send(deeds, out.getvalue(), "again.jpg")
    assert new["blocks"] == ["4"]  # kept as a new block till it is said
    asked = until(lambda: item(deeds, new["id"]), lambda i: i["like"])
    assert asked["like"] == "3"
    assert do(deeds, "settle", number=new["id"], block="3").status_code == 200
    assert [e.what for e in quilt.history("3")] == ["measured", "measured again"]
    assert quilt.removed() == ("4",)
    assert do(deeds, "undo", of="3").status_code == 200
    assert quilt.removed() == ()
    assert do(deeds, "remove", name="4").status_code == 200


def test_the_chosen_size_is_kept_and_everything_follows_it(deeds, quilt):
    sizes = deeds.get(f"{PATH}/sizes.json").json()
    other = next(n for n in range(len(sizes["rows"])) if n != sizes["chosen"])
    looked = deeds.get(f"{PATH}/sizes.json?row={other}").json()
    assert looked["at"] == other
    assert looked["chosen"] == sizes["chosen"]  # looking chooses nothing
    assert set(looked["blocks"]) == {"1", "2", "3"}
    assert do(deeds, "choose", row=other).status_code == 200
    assert quilt.plan.chosen_mm is not None
    again = deeds.get(f"{PATH}/sizes.json").json()
    assert again["rows"][again["chosen"]]["size"] == sizes["rows"][other]["size"]
    assert sizes["rows"][other]["size"] in deeds.get(f"{PATH}/trim").text
    assert do(deeds, "choose", row=None).status_code == 200
    assert quilt.plan.chosen_mm is None


def test_a_trimmed_block_is_judged_by_a_photo_taken_since(deeds, quilt):
    def verdict():
        return re.search(
            r'verdict"><p><strong>([^<]*)', deeds.get(f"{PATH}/trim?name=1").text
        ).group(1)

    with Image.open(PHOTOS / "sailboat-1.jpg") as picture:
        out = io.BytesIO()
        picture.point(lambda v: v * 0.96).save(out, "JPEG", quality=94, exif=picture.getexif())
    assert do(deeds, "choose", row=0).status_code == 200
    assert do(deeds, "state", name="1", state="trimmed").status_code == 200
    assert verdict() == "Trimmed; photograph it again to check."
    send(deeds, out.getvalue(), "since.jpg", "&again=1&trimmed=yes")
    assert verdict().startswith("Trimmed, and still ")  # nothing was cut
    block = next(b for b in quilt.blocks() if b.name == "1")
    size = f"{block.width_mm.value / INCH:.2f} x {block.height_mm.value / INCH:.2f}"
    assert do(deeds, "plan", entries={"chosen_mm": size}).status_code == 200
    assert verdict() == "Trimmed, and right."
    for of in ("plan", "plan", "1", "1"):
        assert do(deeds, "undo", of=of).status_code == 200
    assert next(b for b in quilt.blocks() if b.name == "1").state == "measured"


def test_ticks_and_notes_are_kept_as_they_are_made(deeds, quilt):
    what = "block 1 to 6 × 9 in: off the top edge"
    assert do(deeds, "tick", what=what, done=True).status_code == 200
    assert what in quilt.ticks()
    assert do(deeds, "tick", what=what, done=False).status_code == 200
    assert quilt.ticks() == frozenset()
    assert do(deeds, "note", name="1", note="<b>red</b> & sail").status_code == 200
    assert "&lt;b&gt;red" in deeds.get(f"{PATH}/blocks").text


def test_a_tick_outlasts_other_words_and_units_and_not_another_cut(deeds):
    def boxes(view):
        found = re.findall(r'data-what="([^"]*)"( checked)?', deeds.get(f"{PATH}/{view}").text)
        return {html.unescape(what): bool(checked) for what, checked in found}

    def row(another):
        rows = deeds.get(f"{PATH}/sizes.json").json()
        return next(n for n in range(len(rows["rows"])) if (n != rows["chosen"]) == another)

    entries = {"alternate": True, "rows": "2"}
    assert do(deeds, "plan", entries=entries).status_code == 200
    assert do(deeds, "choose", row=row(another=False)).status_code == 200
    for view in ("trim?name=2", "cut"):
        first = next(iter(boxes(view)))
        assert do(deeds, "tick", what=first, done=True).status_code == 200
        assert do(deeds, "plan", entries={"unit": "cm"}).status_code == 200
        assert boxes(view)[first]
        assert do(deeds, "undo", of="plan").status_code == 200
        assert do(deeds, "choose", row=row(another=True)).status_code == 200
        assert not any(boxes(view).values())
        assert do(deeds, "undo", of="plan").status_code == 200
        assert boxes(view)[first]
    for _ in range(2):
        assert do(deeds, "undo", of="plan").status_code == 200


@pytest.fixture
def kinds(served):
    """A client with two kinds of blocks, measured with a ruler."""
    with served.client() as client:
        made = client.post("/new", json={"name": "Kinds"})
        path = made.json()["to"].rsplit("/", 1)[0]

        def act(action, **given):
            answer = client.post(f"{path}/do/{action}", json=given)
            assert answer.status_code == 200, answer.text
            return answer.json()

        entries = {"planned_mm": "6 x 9", "kind": "sailboat", "frame_mm": "left 1, right 1"}
        entries |= {"new/name": "lighthouse", "new/planned_mm": "6 x 12", "new/halves": False}
        act("plan", entries={**entries, "repeat": "sailboat / lighthouse", "card_side": "4 in"})
        for name, width, height in (
            ("s1", "6", "9"), ("s2", "6 1/8 in", "9"), ("l1", "15.6 cm", "12 1/8"), ("l2", "6", "12"),
        ):  # fmt: skip
            act("ruler", name=name, width=width, height=height)
            act("kind", name=name, kind="sailboat" if name[0] == "s" else "lighthouse")
        yield client, path, act
    (served.folder / "Kinds.blockcheck").unlink()


def test_each_kind_of_block_has_its_slider_and_its_choice(served, kinds):
    client, path, act = kinds

    def sizes(**query):
        return client.get(f"{path}/sizes.json", params=query).json()

    first, tall = sizes(), sizes(kind="lighthouse")
    assert (first["kind"], tall["kind"]) == ("sailboat", "lighthouse")
    assert first["kinds"] == tall["kinds"] == ["sailboat", "lighthouse"]
    assert set(tall["blocks"]) == {"s1", "s2", "l1", "l2"}
    assert "12 in" in tall["rows"][tall["chosen"]]["size"].replace("\u00a0", " ")
    act("plan", entries={"kind/chosen_mm/lighthouse": "5 1/2 x 12"})
    act("choose", kind="lighthouse", row=0)
    with Project.open(served.folder / "Kinds.blockcheck") as quilt:
        (kind,) = quilt.plan.kinds
        assert (kind.chosen_mm is not None, quilt.plan.chosen_mm) == (True, None)
        assert quilt.plan.frame_mm == (("left", INCH), ("right", INCH))
        assert {b.name: b.kind for b in quilt.blocks()}["l1"] == "lighthouse"
    assert sizes(kind="lighthouse")["fixed"]
    assert not sizes()["fixed"]
    act("choose", kind="lighthouse", row=None)
    for view in ("photos", "blocks", "block?name=l1", "rows", "trim?name=l1", "cut", "plan"):
        answer = client.get(f"{path}/{view}")
        assert answer.status_code == 200
        if view.split("?")[0] in ("photos", "blocks", "block", "plan"):
            assert "lighthouse" in answer.text


def test_cloth_in_hand_is_laid_out(kinds):
    client, path, act = kinds
    page = client.get(f"{path}/plan").text
    assert 'name="part/cloth/frame"' in page
    act("plan", entries={"part/cloth/frame": "blue", "part/lengthwise/frame": True})
    assert 'name="fabric/in_hand/blue"' in client.get(f"{path}/plan").text
    act("plan", entries={"fabric/in_hand/blue": "2 fat quarters; 14 x 20 in"})
    cut = client.get(f"{path}/cut").text
    assert "The cloth in hand" in cut
    assert "lengthwise grain" in cut
    wrong = {"fabric/in_hand/blue": "a heap"}
    answer = client.post(f"{path}/do/plan", json={"entries": wrong})
    assert answer.status_code == 400
    assert "a heap" in answer.json()["said"][0]


def test_halves_are_compared(kinds):
    client, path, act = kinds
    new = {"new/name": "gull", "new/planned_mm": "3 1/4 x 9", "new/halves": True}
    act("plan", entries=new)
    for name, height in (("4 left", "9"), ("4 right", "9 1/2")):
        act("ruler", name=name, width="3 1/4", height=height)
        act("kind", name=name, kind="gull")
    assert "1/2 in longer" in client.get(f"{path}/rows").text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("file", "begins"),
    [
        ("report.html", b"<!doctype html>"),
        ("trim-sheet.pdf", b"%PDF"),
        ("labels.pdf", b"%PDF"),
        ("card.pdf", b"%PDF"),
        ("cards.pdf", b"%PDF"),
        ("sheet.pdf", b"%PDF"),
    ],
)
def test_papers_are_downloaded(deeds, file, begins):
    answer = deeds.get(f"{PATH}/file/{file}?paper=a4")
    assert answer.content.startswith(begins)
    assert "attachment" in answer.headers["content-disposition"]
    assert "script-src" not in answer.headers["content-security-policy"]


def test_sizes_and_the_whole_project_are_downloaded(deeds):
    text = deeds.get(f"{PATH}/file/sizes.csv").content.decode("utf-8-sig")
    assert [row["name"] for row in csv.DictReader(io.StringIO(text))][:3] == ["1", "2", "3"]
    whole = json.loads(deeds.get(f"{PATH}/file/project.json").content)
    assert whole["schema"] == "blockcheck/project-1"
    assert deeds.get(f"{PATH}/file/other.exe").status_code == 404


@pytest.mark.parametrize(
    ("action", "given"),
    [
        ("edges", {"name": "1", "corners": [[1, 2], [3]], "held": []}),
        ("edges", {"name": "1", "corners": [[1, 2]] * 4, "held": [9]}),
        ("edges", {"name": "1", "corners": [[1e9, 2]] * 4, "held": []}),
        ("edges", {"name": "none", "corners": [[1, 2]] * 4, "held": []}),
        ("marks", {"name": "1", "points": {"a": ["x", None]}}),
        ("marks", {"name": "1", "points": [1, 2]}),
        ("plan", {"entries": "all"}),
        ("state", {"name": "1", "state": "eaten"}),
        ("rename", {"name": "1", "new": "2"}),
        ("order", {"names": ["1", "1"]}),
        ("choose", {"row": 999}),
        ("mend", {"number": 99, "corners": [[0, 0]] * 4, "held": []}),
        ("settle", {}),
        ("kind", {"name": "1", "kind": "none such"}),
        ("ruler", {"name": "9", "width": "wide", "height": "9"}),
        ("ruler", {"name": "", "width": "6", "height": "9"}),
        ("ruler", {"name": "9", "width": "6"}),
        ("plan", {"entries": {"new/planned_mm": "6 x 9"}}),
        ("plan", {"entries": {"repeat": "whale"}}),
        ("plan", {"entries": {"planned_mm": "huge"}}),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(deeds, quilt, action, given):
    before = [(b.name, b.state, b.width_mm) for b in quilt.blocks()]
    answer = do(deeds, action, **given)
    assert answer.status_code == 400
    assert answer.json()["said"][0]
    assert [(b.name, b.state, b.width_mm) for b in quilt.blocks()] == before


def test_a_refusal_on_the_page_names_no_option_of_the_command_line(deeds):
    for name in ("no-block", "no-reference"):
        photo = PHOTOS.parents[1] / "fixtures" / "photos" / f"{name}.jpg"
        refused = send(deeds, photo.read_bytes(), f"{name}.jpg")
        assert refused["state"] == "refused"
        assert len(refused["said"]) == 2
        assert "--" not in " ".join(refused["said"])
        assert do(deeds, "drop", number=refused["id"]).status_code == 200
        assert item(deeds, refused["id"]) is None


def test_a_new_quilt_in_centimetres_says_how_to_take_photos_in_centimetres(served):
    with served.client() as client:
        for unit, card, away in (
            ("cm", "10.16 cm (4 in)", "30 to 60 cm"),
            ("in", "4 in", "12 to 24 in"),
        ):
            assert client.post("/new", json={"name": f"In {unit}", "unit": unit}).status_code == 200
            said = client.get(f"/p/In {unit}/photos").text.replace("\xa0", " ")
            assert f"if it is not exactly {card}," in said
            assert said.count(away) == 2  # in words and in the drawing
            assert ("24 in" in said) == (unit == "in")


def test_a_bow_names_its_side(deeds):
    said = deeds.get(f"{PATH}/block?name=1").text
    assert re.search("Largest bow, of the (top|right|bottom|left) side", said)


def test_only_actions_that_exist_can_be_asked_for(deeds):
    for name in ("new", "__init__", "_with", "example", "nothing"):
        assert do(deeds, name).status_code == 404


def test_a_photo_left_in_the_folder_is_measured_at_the_next_start(tmp_path):
    """As when the computer stopped between taking it in and measuring it."""
    from serving import serving

    from blockcheck.planning.plan import Plan

    Project.create(tmp_path / "q", Plan(card_side=101.6)).close()
    (tmp_path / "q photos").mkdir()
    (tmp_path / "q photos" / "left.jpg").write_bytes((PHOTOS / "sailboat-2.jpg").read_bytes())
    with serving(tmp_path, "q") as served, served.client() as client:
        assert client.get("/", follow_redirects=True).url.path == "/p/q/photos"
        items = until(
            lambda: client.get("/p/q/photos.json").json()["items"],
            lambda items: [i["state"] for i in items] == ["kept"],
        )
        assert items[0]["name"] == "left.jpg"
        assert client.post("/new", json={"name": "other"}).status_code == 400  # q alone is shown
    assert served.process.returncode == 0


def test_an_end_in_the_midst_of_measuring_is_clean_and_loses_no_photo(tmp_path):
    import os
    import signal

    from serving import serving, start

    served = start(tmp_path)
    with served.client() as client:
        assert client.post("/new", json={"example": True}).status_code == 200
        with client.stream("GET", served.path() + "/events") as events:  # a page that listens
            next(events.iter_lines())
            os.killpg(served.process.pid, signal.SIGINT)  # as Ctrl-C in a terminal
            assert served.process.wait(120) == 0
    with served.process.stdout as said:
        assert "Traceback" not in said.read()
    with serving(tmp_path) as again, again.client() as client:
        until(
            lambda: client.get(f"{again.path()}/blocks").text.count('<li class="card"'),
            lambda count: count == 6,
        )
