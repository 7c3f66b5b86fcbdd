"""Hostile requests and kills: python docs/benchmarks/page_hostile.py [KILLS]

Only this machine's own loopback address is asked. First every kind of request that must be
refused, among them a body of 5 GB, one that never ends, and 10,000 requests in 10 s: the server
must be alive and the project unchanged after each. Then the server is killed at random moments of
uploading and editing: nothing that it said was kept may be missing. Ends with status 1 otherwise.
"""

import asyncio
import contextlib
import io
import os
import random
import signal
import socket
import sys
import tempfile
import threading
import time
import zipfile
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[2]))
sys.path.append(str(Path(__file__).resolve().parents[2] / "tests" / "page"))
import httpx
from page import other
from serving import PHOTOS, Served, serving, start, until

from blockcheck.project import Project

NAME = "Sailboats (example)"
BODY = (PHOTOS / "sailboat-1.jpg").read_bytes()


def unchanged(served: Served) -> str:
    """Everything that the project holds, and what lies in its folder."""
    with Project.open(served.folder / f"{NAME}.blockcheck") as quilt:
        quilt.export_json(served.folder / "now.json")
    text = (served.folder / "now.json").read_text("utf-8")
    (served.folder / "now.json").unlink()
    return text + "\n".join(sorted(str(p) for p in served.folder.rglob("*")))


def raw(served: Served, head: str, body=(), seconds: float = 90.0) -> str:
    """The first line of the answer to a request written by hand; "closed" if there is none."""
    host, port = served.host.split(":")
    with socket.create_connection((host, int(port)), timeout=seconds) as line:
        line.sendall(head.replace("\n", "\r\n").encode() + b"\r\n")
        stop = threading.Event()

        def send():
            with contextlib.suppress(OSError):
                for piece in body:
                    if stop.is_set():
                        return
                    line.sendall(piece)

        sending = threading.Thread(target=send)
        sending.start()
        try:
            answer = line.recv(4096).split(b"\r\n")[0].decode()
        except (ConnectionError, TimeoutError) as e:
            answer = type(e).__name__
        stop.set()
        line.close()
        sending.join()
        return answer or "closed"


def slow():
    """A body that begins like a photo and then comes a byte at a time, for ever."""
    yield BODY[:64]
    while True:
        yield b"\0"
        time.sleep(0.5)


def gigabytes(count: int):
    piece = other(BODY, 1)[:65536].ljust(65536, b"\0")
    for _ in range(count * 2**14):
        yield piece


def hostile(served: Served) -> list[tuple[str, str]]:
    """Every kind of request that must be refused, with the answer's first line."""
    path = served.path().replace(" ", "%20")
    with served.client() as client:
        cookie = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
    good = f"Host: {served.host}\nOrigin: {served.url}\nCookie: {cookie}\n"
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as z:
        z.writestr("a.txt", "x" * 1000)
    z = zipped.getvalue()
    post = f"POST {path}/photos?name="
    requests = [
        ("no key", f"GET {path}/blocks HTTP/1.1\nHost: {served.host}\n", ()),
        ("wrong key", f"GET /?key=guessed HTTP/1.1\nHost: {served.host}\n", ()),
        ("wrong cookie", f"GET / HTTP/1.1\nHost: {served.host}\nCookie: {cookie[:-3]}xyz\n", ()),
        ("wrong Host", f"GET / HTTP/1.1\nHost: rebound.example\nCookie: {cookie}\n", ()),
        ("foreign Origin", f"POST {path}/do/remove HTTP/1.1\nHost: {served.host}\nOrigin: http://elsewhere.example\nCookie: {cookie}\nContent-Length: 12\n", (b'{"name":"1"}',)),
        ("../ in a name", f"{post}..%2F..%2Fx.sh HTTP/1.1\n{good}Content-Length: {len(z)}\n", (z,)),
        ("absolute name", f"{post}%2Fetc%2Fcron.d%2Fx HTTP/1.1\n{good}Content-Length: {len(z)}\n", (z,)),
        ("../ in the address", f"GET /static/..%2f..%2fapp.py HTTP/1.1\n{good}", ()),
        ("../ as a project", f"GET /p/..%2F..%2Fetc%2Fpasswd/blocks HTTP/1.1\n{good}", ()),
        ("zip named .jpg", f"{post}boat.jpg HTTP/1.1\n{good}Content-Length: {len(z)}\n", (z,)),
        ("5 GB announced", f"{post}a.jpg HTTP/1.1\n{good}Content-Length: {5 * 2**30}\n", gigabytes(5)),
        ("5 GB in chunks", f"{post}a.jpg HTTP/1.1\n{good}Transfer-Encoding: chunked\n", (b"10000\r\n" + p + b"\r\n" for p in gigabytes(5))),
        ("slow body, no key", f"{post}a.jpg HTTP/1.1\nHost: {served.host}\nContent-Length: 100000\n", slow()),
        ("slow body", f"{post}a.jpg HTTP/1.1\n{good}Content-Length: 50000000\n", slow()),
        ("slow words", f"POST {path}/do/note HTTP/1.1\n{good}Content-Length: 9999\n", slow()),
        ("half a head", "GET / HTTP/1.1\nHost: half", ()),
        ("no HTTP", "\x16\x03\x01\x02\x00\x01", ()),
        ("a head of 1 MB", f"GET / HTTP/1.1\nHost: {served.host}\nX: {'y' * 2**20}\n", ()),
        ("deep JSON", f"POST {path}/do/note HTTP/1.1\n{good}Content-Length: 100000\n", (b"[" * 100000,)),
        ("odd JSON", f"POST {path}/do/edges HTTP/1.1\n{good}Content-Length: 46\n", (b'{"name":"1","corners":[[1,2],3],"held":"yes"} ',)),
        ("no such action", f"POST {path}/do/__init__ HTTP/1.1\n{good}Content-Length: 2\n", (b"{}",)),
    ]  # fmt: skip
    return [(what, raw(served, head, body)) for what, head, body in requests]


async def flood(served: Served, count: int = 10_000) -> tuple[float, int, int]:
    """Seconds of so many requests without a key, how many were refused, how many not answered."""
    host, port = served.host.split(":")
    refused = lost = 0
    gate = asyncio.Semaphore(40)

    async def one() -> None:
        nonlocal refused, lost
        async with gate:
            try:
                reader, writer = await asyncio.open_connection(host, int(port))
                writer.write(f"GET / HTTP/1.1\r\nHost: {served.host}\r\n\r\n".encode())
                line = await asyncio.wait_for(reader.readline(), 20)
                refused += b" 403 " in line or b" 503 " in line
                writer.close()
            except (OSError, TimeoutError):
                lost += 1

    begin = time.perf_counter()
    await asyncio.gather(*(one() for _ in range(count)))
    return time.perf_counter() - begin, refused, lost


def attack() -> bool:
    """All hostile requests; whether the server stood them."""
    sound = True
    with serving(tempfile.mkdtemp(prefix="page-")) as served, served.client() as client:
        client.post("/new", json={"example": True})
        until(
            lambda: client.get(f"{served.path()}/photos.json").json()["items"],
            lambda items: [i["state"] for i in items] == ["kept"] * 6,
            120,
        )
        before = unchanged(served)
        for what, line in hostile(served):
            fine = " 40" in line or " 41" in line or line in ("closed", "ConnectionResetError")
            sound &= fine
            print(f"{'ok ' if fine else 'BAD'} {what}: {line}")
        seconds, refused, lost = asyncio.run(flood(served))
        sound &= refused + lost == 10_000 and lost < 100
        print(f"10,000 requests in {seconds:.1f} s: {refused} refused, {lost} without an answer")
        alive = client.get("/").status_code == 200 and served.process.poll() is None
        same = unchanged(served) == before
        print(f"server alive: {alive}; project and folder unchanged: {same}")
        sound &= alive and same
    return sound


def kill_once(rng: random.Random, number: int) -> list[str]:
    """Upload and edit until the server is killed; what was shown as kept and is not there."""
    folder = Path(tempfile.mkdtemp(prefix="page-"))
    served = start(folder)
    shown: dict[str, set[str]] = {"blocks": set(), "photos": set(), "notes": set(), "ticks": set()}
    stop = threading.Event()

    def work() -> None:
        with contextlib.suppress(httpx.HTTPError), served.client() as client:
            client.post("/new", json={"name": "q"}).raise_for_status()
            client.post("/p/q/do/plan", json={"entries": {"card_side": "4 in"}})
            for n in range(1000):
                answer = client.post(f"/p/q/photos?name={n}.jpg", content=other(BODY, n))
                if answer.status_code == 201:
                    shown["photos"].add(answer.json()["name"])
                for item in client.get("/p/q/photos.json").json()["items"]:
                    if item["state"] == "kept":
                        shown["blocks"].update(item["blocks"])
                for name in sorted(shown["blocks"]):
                    note = f"note {n}"
                    if client.post("/p/q/do/note", json={"name": name, "note": note}).is_success:
                        shown["notes"] = {x for x in shown["notes"] if x[0] != name} | {
                            (name, note)
                        }
                if client.post("/p/q/do/tick", json={"what": f"cut {n}", "done": True}).is_success:
                    shown["ticks"].add(f"cut {n}")
                if stop.is_set():
                    return

    working = threading.Thread(target=work)
    working.start()
    time.sleep(rng.uniform(0.5, 12.0))
    os.killpg(served.process.pid, signal.SIGKILL)
    stop.set()
    working.join()
    served.process.wait()
    served.process.stdout.close()
    if not (folder / "q.blockcheck").exists():
        return []
    with Project.open(folder / "q.blockcheck") as quilt:
        notes = {b.name: b.note for b in quilt.blocks()}
        missing = [f"block {b}" for b in shown["blocks"] if b not in notes]
        # a later note may have been kept without its answer having arrived
        missing += [
            f"{note} of {name}"
            for name, note in shown["notes"]
            if int((notes.get(name) or "note -1").split()[1]) < int(note.split()[1])
        ]
        missing += [f"tick {t}" for t in shown["ticks"] - quilt.ticks()]
    photos = {p.name for p in (folder / "q photos").glob("*")}
    missing += [f"photo {p}" for p in shown["photos"] - photos]
    print(
        f"kill {number}: {len(shown['photos'])} photos, {len(shown['blocks'])} blocks, "
        f"{len(shown['ticks'])} ticks were shown as kept; missing: {len(missing)}"
    )
    return missing


def main(kills: int) -> int:
    sound = attack()
    rng = random.Random(14)
    missing = [m for n in range(kills) for m in kill_once(rng, n + 1)]
    print(f"{kills} kills: {len(missing)} missing {missing[:5]}")
    return 0 if sound and not missing else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 50))
