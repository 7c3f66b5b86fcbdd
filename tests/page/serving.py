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
PATIENCE_S = 120  # for anything, on a slow machine
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
        with httpx.Client(base_url=self.url, timeout=PATIENCE_S) as client:
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
    if "not there yet" in line:  # a file of lenses
        line = process.stdout.readline()
    found = re.search(r"(http://127\.0\.0\.1:\d+)/\?key=\S+", line)
    assert found, line + process.stdout.read()
    until(lambda: answers(found[1]))
    return Served(Path(folder), found[0], found[1], process)


def answers(url):
    """Whether the server answers at all."""
    with contextlib.suppress(httpx.TransportError):
        return httpx.get(url, timeout=PATIENCE_S)


@contextlib.contextmanager
def serving(folder, *options):
    """A server for as long as the block lasts; ended as by Ctrl-C."""
    served = start(folder, *options)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.process.send_signal(2)
            served.process.wait(PATIENCE_S)
        served.process.stdout.close()


def until(ask, what=bool, seconds=PATIENCE_S):
    """Ask until the answer is as wanted."""
    end = time.monotonic() + seconds
    while True:
        answer = ask()
        if what(answer):
            return answer
        assert time.monotonic() < end, answer
        time.sleep(0.05)
