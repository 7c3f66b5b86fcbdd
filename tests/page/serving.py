"""A server of its own for tests: a process, as a quilter starts it."""

import contextlib
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import httpx

ROOT = Path(__file__).resolve().parents[2]
PHOTOS = ROOT / "blockcheck" / "demo_photos"


@dataclass
class Served:
    """A running server."""

    folder: Path
    address: str
    url: str
    process: subprocess.Popen

    @property
    def host(self):
        return self.url.removeprefix("http://")

    @contextlib.contextmanager
    def client(self):
        """A browser that has been let in."""
        with httpx.Client(base_url=self.url, timeout=30) as client:
            assert client.get(self.address).status_code == 200
            client.headers["origin"] = self.url
            yield client

    def path(self, project="Sailboats (example)"):
        return f"/p/{project}"


def start(folder, *options):
    """Start the page in a folder."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    words = [sys.executable, "-m", "blockcheck", "page", "--no-browser", *options]
    process = subprocess.Popen(
        words,
        cwd=folder,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    line = process.stdout.readline()
    found = re.search(r"(http://127\.0\.0\.1:\d+)/\?key=\S+", line)
    assert found, line + process.stdout.read()
    until = time.monotonic() + 20
    while time.monotonic() < until:
        with contextlib.suppress(httpx.TransportError):
            httpx.get(found[1])
            break
        time.sleep(0.05)
    return Served(Path(folder), found[0], found[1], process)


@contextlib.contextmanager
def serving(folder, *options):
    """A server for as long as the block lasts; ended as by Ctrl-C."""
    served = start(folder, *options)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.process.send_signal(2)
            served.process.wait(15)
        served.process.stdout.close()


def until(ask, what=bool, seconds=30):
    """Ask until the answer is as wanted."""
    end = time.monotonic() + seconds
    while True:
        answer = ask()
        if what(answer):
            return answer
        assert time.monotonic() < end, answer
        time.sleep(0.05)
