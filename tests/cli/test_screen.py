"""What reaches the screen and the disk: nothing acts, nothing is half, nothing is a traceback."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from blockcheck.cli import main, photos
from blockcheck.cli.measuring import picture_names
from blockcheck.cli.screen import shown
from blockcheck.errors import in_one_line
from blockcheck.project import Project

ROOT = Path(__file__).resolve().parents[2]
BOAT = ROOT / "blockcheck" / "demo_photos" / "sailboat-1.jpg"


def run(*words, status=0):
    result = CliRunner().invoke(main, [str(w) for w in words])
    assert result.exit_code == status, result.output
    return result


def program(*words, **more):
    """Start the program as a person does; PYTHONPATH stands for having it installed."""
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), **more.pop("env", {})}
    begin = more.pop("begin", ("-m", "blockcheck"))
    command = [sys.executable, *begin, *map(os.fspath, words)]
    return subprocess.Popen(command, env=surroundings, stderr=subprocess.PIPE, **more)


@pytest.fixture
def sails(tmp_path):
    with Project.create(tmp_path / "sails") as quilt:
        (tmp_path / "r.csv").write_text("name,width,height\nMast,6,9\nJib,6,9\n")
        quilt.import_csv(tmp_path / "r.csv")
    return quilt.path


def test_control_characters_are_shown_and_in_json_read_back_the_same():
    hostile = "\x1b]0;owned\x07\x1b[2J\r\x9b31m\u202egnp\udcff"
    assert shown(hostile).isprintable()
    assert shown("two\nlines\tand a ±") == "two\nlines\tand a ±"
    assert in_one_line("two\nlines\tand a ±") == "two\\u000alines\\u0009and a ±"
    assert json.loads(shown(json.dumps(hostile, ensure_ascii=False))) == hostile


def test_notes_names_and_file_names_do_not_act(sails, tmp_path):
    with Project.open(sails) as quilt:
        quilt.note("Mast", "\x1b[2Jgone\x07")
    assert "\\u001b[2Jgone\\u0007" in run("list", sails).output
    for words in (
        ("measure", tmp_path / "\x1b[31mred.jpg"),
        ("list", tmp_path / "\x1b[31mred"),
        ("measure", "--\x1b[31m"),
        ("\x1b[31m",),
        ("measure", BOAT, "--card-side", "\x1b[31m"),
    ):
        said = CliRunner().invoke(main, [str(w) for w in words])
        assert said.exit_code
        assert said.output
        assert "\x1b" not in said.output


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
def test_a_file_s_name_makes_no_line_of_its_own(sails, tmp_path):
    """A name with an end of line in it could say a size that nobody measured."""
    lie = "p.jpg\n  width  9 in ± 0 in\t\x1b[2J"
    (tmp_path / f"{lie}.jpg").symlink_to(BOAT)
    (tmp_path / f"{lie}-bad.jpg").write_bytes(b"no photo")
    said = CliRunner().invoke(main, ["measure", str(tmp_path)])
    assert said.exit_code == 1
    assert said.output.count("p.jpg\\u000a  width  9 in ± 0 in\\u0009\\u001b[2J") == 2
    assert "\n  width  9 in" not in said.output
    answer = json.loads(CliRunner().invoke(main, ["measure", str(tmp_path), "--json"]).stdout)
    assert sorted(a["photo"].endswith(f"{lie}.jpg") for a in answer) == [False, True]
    assert all(p["message"].isprintable() for a in answer for p in a["problems"])
    assert (
        "\n  width  9 in" not in CliRunner().invoke(main, ["add", str(sails), str(tmp_path)]).output
    )
    with Project.open(sails) as quilt:
        quilt.note("Jib", "two\nlines")
    assert "two\\u000alines" in run("list", sails).output


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp437"])
def test_screens_of_any_encoding_take_every_answer(sails, encoding):
    started = program("list", sails, stdout=subprocess.PIPE, env={"PYTHONIOENCODING": encoding})
    said, errors = started.communicate(timeout=120)
    assert (started.returncode, errors) == (0, b"")
    assert b"Mast" in said


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_a_full_disk_behind_the_answer_is_a_sentence_and_a_status(sails):
    with open("/dev/full", "w") as full:
        started = program("list", sails, stdout=full)
        errors = started.communicate(timeout=120)[1].decode()
    assert started.returncode == 4
    assert errors == "The answer could not be written: No space left on device.\n"


@pytest.mark.skipif(os.name == "nt", reason="signals and pipes as on Unix")
def test_a_reader_that_has_had_enough_and_no_home_are_borne(sails):
    reading, writing = os.pipe()
    os.close(reading)
    started = program("list", sails, stdout=writing, env={"LC_ALL": "C", "HOME": "/nowhere"})
    os.close(writing)
    errors = started.communicate(timeout=120)[1].decode()
    assert "Traceback" not in errors
    assert "Exception ignored" not in errors


# starts the program, and tells when it comes to load a module
TELLING = """
import os, sys
moment = sys.argv.pop(1)
def tell(event, given):
    if event == "import" and given[0] == moment:
        os.write(1, b".")
sys.addaudithook(tell)
from blockcheck.__main__ import run
sys.exit(run())
"""


@pytest.mark.skipif(os.name == "nt", reason="signals as on Unix")
@pytest.mark.parametrize(
    ("moment", "wait_s"),
    [("blockcheck.cli", 0.0), ("cv2", 0.0), ("multiprocessing.popen_spawn_posix", 0.0)]
    + [("multiprocessing.popen_spawn_posix", s) for s in (0.2, 0.6)],
)
def test_ctrl_c_at_any_moment_is_no_traceback(tmp_path, moment, wait_s):
    """From the program's first word on: before it Python itself would answer."""
    for i in range(4):
        (tmp_path / f"{i}.jpg").symlink_to(BOAT)
    started = program(moment, "measure", tmp_path, "--jobs", "2", begin=("-c", TELLING),
                      stdout=subprocess.PIPE, start_new_session=True)  # fmt: skip
    assert started.stdout.read(1) == b"."
    time.sleep(wait_s)
    os.killpg(started.pid, signal.SIGINT)
    errors = started.communicate(timeout=120)[1].decode()
    assert "Traceback" not in errors
    assert started.returncode in (130, -signal.SIGINT, 0)


def ends_itself(path, corners, settings):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.skipif(os.name == "nt", reason="signals as on Unix")
def test_a_killed_worker_is_a_refusal_of_its_photo(monkeypatch):
    monkeypatch.setattr(photos, "_measure", ends_itself)
    monkeypatch.setattr(photos.os, "cpu_count", lambda: 2)
    with click.Context(main):
        found = list(photos.measure_all([Path("a.jpg"), Path("b.jpg")], 2, None, {}))
    assert [r.path.name for r in found] == ["a.jpg", "b.jpg"]
    assert all("the computer stopped" in r.problems[0].message for r in found)


@pytest.mark.parametrize(
    "words",
    [
        ("report", "SAILS"),
        ("trim-sheet", "SAILS"),
        ("labels", "SAILS"),
        ("card", "--output", "card.pdf"),
        ("export", "SAILS", "sails.csv"),
        ("export", "SAILS", "sails.json"),
        ("measure", BOAT, "--picture", "boat.png"),
    ],
    ids=lambda words: " ".join(map(str, words[:1])),
)
def test_nothing_that_is_there_is_written_over_unless_asked(sails, words, monkeypatch):
    monkeypatch.chdir(sails.parent)
    words = [sails.name if w == "SAILS" else w for w in words]
    run(*words)
    (made,) = (p for p in sails.parent.iterdir() if p.name not in (sails.name, "r.csv"))
    made.write_bytes(b"mine")
    assert "--force" in run(*words, status=4).output
    assert made.read_bytes() == b"mine"
    run(*words, "--force")
    assert made.read_bytes() != b"mine"


def test_the_demo_writes_over_nobodys_photo(tmp_path):
    mine = tmp_path / "sailboat-2.jpg"
    mine.write_bytes(b"my own boat")
    assert "sailboat-2.jpg already exists" in run("demo", tmp_path, status=4).output
    assert mine.read_bytes() == b"my own boat"
    assert [p.name for p in tmp_path.iterdir()] == [mine.name]


def test_photos_of_one_name_get_a_picture_each():
    found = [Path("a/p.jpg"), Path("b/p.jpg"), Path("b/P.png"), Path("q.jpg")]
    assert picture_names(found) == ["p.png", "p-2.png", "P-3.png", "q.png"]
