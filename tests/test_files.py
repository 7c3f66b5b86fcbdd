"""Files are read whole or refused, and written whole or not at all."""

import errno
import os
from pathlib import Path

import pytest

from blockcheck.files import read_whole, sha256_of, write_whole


def test_what_was_there_stays_where_writing_fails(tmp_path, monkeypatch):
    path = tmp_path / "sizes.csv"
    write_whole(path, b"old")

    def full(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


@pytest.mark.skipif(os.name == "nt", reason="modes of files as on Unix")
def test_a_written_file_has_the_mode_that_it_would_have_had(tmp_path):
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "new", b"")
        assert (tmp_path / "new").stat().st_mode & 0o777 == 0o640
        (tmp_path / "new").chmod(0o600)
        write_whole(tmp_path / "new", b"again")
        assert (tmp_path / "new").stat().st_mode & 0o777 == 0o600
    finally:
        os.umask(before)


def test_nothing_but_plain_files_is_written_over(tmp_path):
    (tmp_path / "folder").mkdir()
    with pytest.raises(OSError, match="not an ordinary file"):
        write_whole(tmp_path / "folder", b"")
    with pytest.raises(OSError, match="No such file"):
        write_whole(tmp_path / "nowhere" / "x", b"")


def test_limits_are_told_before_a_byte_is_read(tmp_path):
    path = tmp_path / "huge"
    with path.open("wb") as file:
        file.truncate(5_000_000_000)
    with pytest.raises(OSError, match="5000 MB, more than 200"):
        read_whole(path, 200_000_000)
    with pytest.raises(OSError, match="folder"):
        read_whole(tmp_path, 10)
    assert sha256_of(path) is None
    assert sha256_of(Path("a\0b")) is None
