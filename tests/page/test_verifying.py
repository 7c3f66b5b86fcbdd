"""Checks of the measuring, made on the page: the same answers as the command line's."""

import io
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from serving import PHOTOS

from blockcheck.errors import NoReferenceError
from blockcheck.measuring import checks
from blockcheck.measuring.checks import repeat_photos, verify_photo
from blockcheck.page.verifying import learnt
from blockcheck.profiles import LensProfile, load_profiles
from blockcheck.project import Project
from blockcheck.report.measured_words import repeated, verified
from blockcheck.units import INCH
from fixtures.scene import Block, Camera, Card, Mat, Scene, save

NAME = "Checked"
PATH = f"/p/{NAME}"
BARE = Mat(lines_mm=None, diagonal=False)


def bank_card(**card):
    """An ID-1 card (ISO/IEC 7810), 0.76 mm thick, beside the printed card."""
    corners = ((2.2, -31.9), (87.6, -26.0), (83.9, 27.9), (-1.5, 21.9))  # 85.60 x 53.98 mm
    thing = Block(corners, height_mm=0.76, cloth="solid", colours=((226, 226, 232),))
    card = Card(centre_mm=(-85, 20), turn_deg=3, **card)
    return Scene(Camera(distance_mm=330, tilt_deg=6), BARE, (card,), (thing,), seed=1)


@pytest.fixture(scope="module")
def checked(served):
    with served.client() as client:
        assert client.post("/new", json={"name": NAME}).status_code == 200
        entries = {"card_side": "4 in", "sheet_side": "9 in"}
        assert client.post(f"{PATH}/do/plan", json={"entries": entries}).status_code == 200
        yield client


def plain(texts):
    """Texts with the spaces that hold a size together as ordinary ones."""
    return [text.replace("\xa0", " ") for text in texts]


def quilt(served):
    return Project.open(served.folder / f"{NAME}.blockcheck")


def send(client, kind, body, **query):
    query = {"name": "photo.jpg", "known": "85.60 x 53.98 mm", "height": "0.76 mm", **query}
    return client.post(f"{PATH}/verify/{kind}/photo", params=query, content=body)


def test_a_known_size_is_checked_and_the_answer_kept(served, checked, tmp_path):
    photo = tmp_path / "shrunk.jpg"
    save(bank_card(scale=0.985), photo)
    answer = send(checked, "verify", photo.read_bytes(), name=photo.name).json()
    alone = verify_photo(photo, "85.60x53.98mm", card_side="4in")
    assert not alone.agrees
    assert not answer["good"]
    shown = [plain(text for _, text in table["rows"]) for table in answer["tables"]]
    assert shown == [list(row[1:]) for row in verified(alone, "in")]
    doubt = "do not cut by these photos"
    by_ruler = {"name": "R", "width": "6 in", "height": "9 in"}
    assert checked.post(f"{PATH}/do/ruler", json=by_ruler).status_code == 200
    for view in ("photos", "blocks", "block?name=R", "rows", "plan", "trim", "cut", "verify"):
        assert doubt in checked.get(f"{PATH}/{view}").text
    assert checked.post(f"{PATH}/do/remove", json={"name": "R"}).status_code == 200
    with quilt(served) as one:
        (check,) = one.checks()
        assert (check.verdict, check.path.is_file(), one.blocks()) == ("does not agree", True, ())
        one.add_check(check.known_mm, check.measured, "agrees")
    assert doubt not in checked.get(f"{PATH}/trim").text
    shown = checked.get(f"{PATH}/verify.json").json()["made"]
    assert [c["good"] for c in shown] == [True, False]
    assert checked.get(f"{PATH}/photos.json").json()["items"] == []  # none is taken for a block


def test_a_photo_that_shows_nothing_known_is_refused_and_left_out(served, checked):
    before = sorted((served.folder / f"{NAME} photos" / "check-verify").iterdir())
    empty = io.BytesIO()
    Image.new("RGB", (640, 480), (40, 90, 70)).save(empty, "JPEG")
    answer = send(checked, "verify", empty.getvalue()).json()
    assert not answer["good"]
    assert "640 × 480" in plain(answer["said"])[1]
    assert send(checked, "verify", empty.getvalue(), known="large").status_code == 400
    assert send(checked, "verify", empty.getvalue(), known="1 x 2 mm").status_code == 400
    assert sorted((served.folder / f"{NAME} photos" / "check-verify").iterdir()) == before


def test_photos_of_one_block_are_compared(served, checked, tmp_path):
    files = []
    for n in range(2):
        files.append(tmp_path / f"{n}.jpg")
        Image.open(PHOTOS / "sailboat-1.jpg").save(files[-1], quality=95 - n)
    assert checked.post(f"{PATH}/verify/repeat/do", json={}).status_code == 400
    for count, file in enumerate(files, start=1):
        answer = send(checked, "repeat", file.read_bytes(), name=file.name)
        assert (answer.status_code, answer.json()) == (201, {"count": count})
    assert checked.get(f"{PATH}/verify.json").json()["waiting"] == {"repeat": 2, "lens": 0}
    answer = checked.post(f"{PATH}/verify/repeat/do", json={}).json()
    alone = repeat_photos([files], card_side="4in", sheet_side="9in")
    assert plain(answer["said"])[0] == "2 photos of one block."
    shown = [plain(text for _, text in table["rows"]) for table in answer["tables"]]
    assert shown == [[text for _, text in rows] for _, rows in repeated(alone, INCH / 8, "in")]
    assert answer["good"]
    assert checked.get(f"{PATH}/verify.json").json()["waiting"]["repeat"] == 0
    table = b"part,person,try,value\n" + b"".join(
        b"%d,%s,%d,%d\n" % (part, person, n, part + n * (person == b"Ada"))
        for part in (1, 2, 3)
        for person in (b"Ada", b"Eve")
        for n in (1, 2)
    )
    study = checked.post(f"{PATH}/verify/readings/do", content=table).json()
    assert any("GRR" in line for line in study["said"])


def test_a_lens_needs_five_photos_that_differ(checked):
    photo = (PHOTOS / "sailboat-1.jpg").read_bytes()
    for count in range(1, 6):
        assert send(checked, "lens", photo, name="sheet.jpg").json() == {"count": count}
    few = checked.post(f"{PATH}/verify/lens/do", json={})
    assert (few.status_code, "five photos or more" in few.json()["said"][0]) == (400, True)
    assert checked.post(f"{PATH}/verify/lens/drop", json={}).status_code == 200
    assert checked.get(f"{PATH}/verify.json").json()["waiting"]["lens"] == 0


def test_a_lens_that_is_learnt_is_kept_and_said(monkeypatch, tmp_path):
    """The adjustment itself is tested with the command line's."""
    profile = LensProfile(
        "Acme One", 1600, 1200, 26.0, 0.78, 0.03, -0.01, 0.0, 0.0, 1e-6 * np.eye(5), 5, 0.1
    )
    lens = SimpleNamespace(f=1248.0)
    found = SimpleNamespace(lens=lens, view_rms_px=(0.1,) * 5)
    views = tuple(SimpleNamespace(name=f"{n}.jpg") for n in range(5))
    failed = (NoReferenceError("No card in 6.jpg."),)
    asked = {}

    def learning(paths, **given):
        asked.update(given, paths=paths)
        return profile, found, views, failed

    monkeypatch.setattr(checks, "profile_of_photos", learning)
    said = learnt([tmp_path / "1.jpg"], {"sheet_side": 228.6}, tmp_path / "lenses.json")
    assert asked["sheet_side"] == 228.6
    assert said[0].startswith("Acme One, 1600 × 1200, 26 mm: 5 photos")
    assert "No card in 6.jpg." in said[-1]
    (kept,) = load_profiles(tmp_path / "lenses.json")
    assert kept.key == profile.key


def test_what_is_no_check_is_not_there(checked):
    for path in ("verify/weigh/photo", "verify/repeat/undo", "verify/verify/do"):
        assert checked.post(f"{PATH}/{path}", json={}).status_code == 404, path


def test_the_height_that_was_taken_is_said(served, checked, tmp_path):
    photo = tmp_path / "card.jpg"
    save(bank_card(), photo)
    for height, says in (("", "as a bank card's does"), ("0.8 mm", "0.8 mm (0.031 in)")):
        answer = send(checked, "verify", photo.read_bytes(), name="card.jpg", height=height).json()
        assert any(says in text for text in plain(answer["said"])), answer["said"]
