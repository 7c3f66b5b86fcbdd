"""Photos on their way in: by content and size, never by their name."""

import asyncio
import hashlib
import shutil
import socket
import types
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serving import PHOTOS, until

from blockcheck.errors import UploadError
from blockcheck.page import intake
from blockcheck.page.intake import kind_of, plain_name, receive

PHOTO = (PHOTOS / "sailboat-1.jpg").read_bytes()


def send(body, folder, name="a.jpg", length=None, pause=0.0, piece=65536):
    async def chunks():
        for at in range(0, len(body), piece):
            await asyncio.sleep(pause)
            yield body[at : at + piece]

    return asyncio.run(receive(chunks(), name, length, folder))


def test_a_photo_arrives_whole_under_a_plain_name(tmp_path):
    got = send(PHOTO, tmp_path / "new", "../../My Boat (1).HEIC", len(PHOTO))
    assert got.path == tmp_path / "new" / "My-Boat-1.jpg"  # by what it is, not by what it says
    assert got.path.read_bytes() == PHOTO
    assert got.sha256 == hashlib.sha256(PHOTO).hexdigest()
    assert send(PHOTO, tmp_path / "new", "My Boat (1).jpg").path.name == "My-Boat-1-2.jpg"
    assert len(list((tmp_path / "new").iterdir())) == 2


@given(st.text(max_size=80))
def test_any_name_becomes_one_plain_name(name):
    plain = plain_name(name)
    assert plain
    assert set(plain) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")
    assert len(plain) <= 60


@pytest.mark.parametrize(
    "name", ["..", "/etc/passwd", "C:\\windows\\x.jpg", ".hidden.jpg", "-", ""]
)
def test_odd_names_stay_in_the_folder(tmp_path, name):
    assert send(PHOTO, tmp_path / "in", name).path.parent == tmp_path / "in"


def test_a_zip_named_jpg_is_no_photo_and_nothing_of_it_is_left(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.jpg", "w") as z:
        z.writestr("x", "y" * 100)
    for body in ((tmp_path / "a.jpg").read_bytes(), b"", b"short", b"%!PS-Adobe", b"<svg>" * 9):
        with pytest.raises(UploadError, match="not a photo"):
            send(body, tmp_path / "in")
    assert not list((tmp_path / "in").iterdir())


def test_too_large_is_refused_before_and_while_it_comes(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "MOST_BYTES", 100_000)
    with pytest.raises(UploadError, match="larger than"):
        send(PHOTO, tmp_path / "in", length=5 * 2**30)
    with pytest.raises(UploadError, match="larger than"):
        send(PHOTO, tmp_path / "in")  # one that does not say how long it is
    assert not list(tmp_path.glob("in/*"))


def test_a_body_that_stops_coming_is_given_up(tmp_path, monkeypatch):
    monkeypatch.setattr(intake, "SILENCE_S", 0.05)
    with pytest.raises(UploadError, match="did not arrive"):
        send(PHOTO, tmp_path / "in", pause=0.3)
    assert not list((tmp_path / "in").iterdir())


def test_a_nearly_full_disk_is_told(tmp_path, monkeypatch):
    full = types.SimpleNamespace(free=intake.SPARE_BYTES + len(PHOTO) - 1)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: full)
    with pytest.raises(UploadError, match="nearly full") as e:
        send(PHOTO, tmp_path / "in", length=len(PHOTO))
    assert e.value.status == 507


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xd8\xff\xe0" + bytes(20), ".jpg"),
        (b"\x89PNG\r\n\x1a\n" + bytes(20), ".png"),
        (b"RIFF\0\0\0\0WEBPVP8 ", ".webp"),
        (b"RIFF\0\0\0\0WAVEfmt ", None),
        (b"II*\0" + bytes(20), ".tif"),
        (b"\0\0\0\x18ftypheic" + bytes(20), ".heic"),
        (b"\0\0\0\x18ftypmp42" + bytes(20), None),
        (b"PK\x03\x04" + bytes(20), None),
    ],
)
def test_a_photo_is_known_by_its_first_bytes(head, kind):
    assert kind_of(head) == kind


def asked(served, client, length):
    """The first line that comes back when so many bytes are announced and none are sent."""
    cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    host, port = served.host.split(":")
    with socket.create_connection((host, int(port)), timeout=120) as line:
        line.sendall(
            f"POST {served.path().replace(' ', '%20')}/photos?name=a.jpg HTTP/1.1\r\nHost: {served.host}\r\n"
            f"Origin: {served.url}\r\nCookie: {cookie}\r\nContent-Length: {length}\r\n\r\n".encode()
        )
        return line.recv(200).split(b"\r\n")[0]


def test_the_server_takes_a_photo_in_recognises_it_and_refuses_the_rest(example):
    path = example.path()
    with example.client() as client:
        answer = client.post(f"{path}/photos?name=again.jpg", content=PHOTO)
        assert answer.status_code == 201
        number = answer.json()["id"]

        def item():
            items = client.get(f"{path}/photos.json").json()["items"]
            return next(i for i in items if i["id"] == number)

        known = until(item, lambda i: i["state"] not in ("waiting", "measuring"))
        assert (known["state"], known["blocks"]) == ("known", ["1"])
        assert client.post(f"{path}/photos?name=a.jpg", content=b"PK\3\4" * 99).status_code == 415
        assert b" 413 " in asked(example, client, 5 * 2**30)
        assert client.post(f"{path}/photos?again=none", content=PHOTO).status_code == 400
        assert client.post("/p/none/photos", content=PHOTO).status_code == 400
        assert client.get("/").status_code == 200


def test_a_set_is_named_by_nothing_else_than_its_letters(served):
    with served.client() as client:
        assert client.post("/new", json={"name": "Sets"}).status_code == 200
        path = served.path("Sets")
        for token in ("../../x", "abcdefg/", "ABCDEFGH", "abcdefghi", ".."):
            query = {"name": "a.jpg", "set": token}
            assert client.post(f"{path}/photos", params=query, content=PHOTO).status_code == 400
            for action in ("together", "drop"):
                answer = client.post(f"{path}/do/{action}", json={"set": token})
                assert answer.status_code == 400
        query = {"name": "a.jpg", "set": "abcd1234"}
        assert client.post(f"{path}/photos", params=query, content=PHOTO).status_code == 201
        alone = client.post(f"{path}/do/together", json={"set": "abcd1234"})
        assert alone.json()["said"][0] == "It takes two photos or more."
        assert client.get(f"{path}/photos.json").json()["begun"] == {"abcd1234": 1}
        assert client.post(f"{path}/do/drop", json={"set": "abcd1234"}).status_code == 200
        assert client.get(f"{path}/photos.json").json()["begun"] == {}
    assert not (served.folder / "x").exists()
