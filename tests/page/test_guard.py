"""Nobody gets in without the key, and nothing leads elsewhere."""

import re
import socket

import httpx
import pytest

from blockcheck.page.guard import REFUSAL


@pytest.mark.parametrize(
    "path",
    ["/", "/p/x/photos", "/static/page.css", "/phone.svg", "/?key=", "/?key=wrong", "/nowhere"],
)
def test_without_the_key_there_is_a_plain_refusal_and_nothing_else(served, path):
    answer = httpx.get(served.url + path)
    assert (answer.status_code, answer.text) == (403, REFUSAL)
    assert "set-cookie" not in answer.headers


def test_the_key_opens_once_and_the_cookie_is_kept_from_scripts_and_other_sites(served):
    answer = httpx.get(served.address)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "key=" not in answer.text  # the address that stays has no key
    with served.client() as client:
        assert client.get("/").status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "elsewhere.example"},
        {"host": "127.0.0.1"},
        {"host": "127.0.0.1:1"},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1"},
    ],
)
def test_another_name_or_another_site_gets_nothing_even_with_the_cookie(served, headers):
    with served.client() as client:
        assert client.get("/", headers=headers).status_code == 403
        assert client.post("/new", json={"name": "evil"}, headers=headers).status_code == 403
    assert not (served.folder / "evil.blockcheck").exists()


def test_a_change_needs_an_origin_or_the_browsers_own_word(served):
    with served.client() as client:
        del client.headers["origin"]
        other = {"sec-fetch-site": "cross-site"}
        same = {"sec-fetch-site": "same-origin"}
        assert client.post("/new", json={"name": "x/y"}, headers=other).status_code == 403
        assert client.post("/new", json={"name": "x/y"}).status_code == 403
        assert client.post("/new", json={"name": "x/y"}, headers=same).status_code == 400


@pytest.mark.parametrize("size", [10, 3_000_000])
def test_a_refusal_is_read_by_whoever_was_still_sending(served, size):
    for _ in range(5):
        with served.client() as client:
            answer = client.post("/new", content=b"x" * size, headers={"origin": "null"})
            assert (answer.status_code, answer.text) == (403, REFUSAL)
            answer = client.post("/p/none/photos?name=a.jpg", content=b"x" * size)
            assert answer.status_code in (400, 404)


def test_a_body_that_never_ends_is_not_waited_for(served):
    host, port = served.host.split(":")
    with socket.create_connection((host, int(port)), timeout=20) as line:
        line.sendall(
            f"POST /new HTTP/1.1\r\nHost: {served.host}\r\nContent-Length: 9\r\n\r\n1".encode()
        )
        assert b" 403 " in line.recv(100)
        while line.recv(4096):
            pass


def test_two_hosts_in_one_request_are_refused(served):
    host, port = served.host.split(":")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        line.sendall(f"GET / HTTP/1.1\r\nHost: {served.host}\r\nHost: evil\r\n\r\n".encode())
        assert b" 40" in line.recv(100)


def test_every_answer_forbids_what_does_not_come_from_here(example):
    with example.client() as client:
        for path in ("/", example.path() + "/photos", "/static/page.css", "/p/none/photos"):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["referrer-policy"] == "no-referrer"


def test_no_page_names_another_host_or_holds_a_script(example):
    with example.client() as client:
        for view in ("photos", "block?name=1"):
            text = client.get(f"{example.path()}/{view}").text
            scripts = re.findall(r"<script(?![^>]*(?:src=|application/json))", text)
            assert not scripts
            assert not re.search(r"(?:src|href)=\"(?:https?:)?//", text)
            assert " style=" not in text


@pytest.mark.parametrize(
    "path",
    [
        "/p/..%2F..%2Fetc/photos",
        "/p/%2Fetc%2Fpasswd/photos",
        "/static/..%2Fapp.py",
        "/static/../app.py",
        "/p/none/picture/..%2F..%2Fx",
        "/p/Sailboats (example)/picture/" + "0" * 64,
    ],
)
def test_a_name_is_never_a_path(example, path):
    with example.client() as client:
        answer = client.get(path)
        assert answer.status_code in (400, 404)
        assert "import" not in answer.text
