"""A file that a command writes is whole, or is what it was before."""

import os
import stat
import sys
import threading

import pytest

from reelwright.cli.output_file import write_whole
from reelwright.errors import NoRoomError, UsageError

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="modes, links and pipes of POSIX")


def test_the_text_is_written_as_it_is(tmp_path):
    write_whole(tmp_path / "out", "a\r\nb\nµ")

    assert (tmp_path / "out").read_bytes() == "a\r\nb\nµ".encode()


def test_a_failure_half_way_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    target = tmp_path / "out"
    target.write_text("before")

    def fails(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(NoRoomError, match="No space left on device"):
        write_whole(target, "after")
    assert target.read_text() == "before"
    assert list(tmp_path.iterdir()) == [target]


@posix_only
def test_a_new_file_gets_the_usual_rights_and_an_old_one_keeps_its_own(tmp_path):
    usual = tmp_path / "usual"
    usual.touch()
    write_whole(tmp_path / "new", "x")
    private = tmp_path / "private"
    private.touch(0o600)
    write_whole(private, "x")

    assert (tmp_path / "new").stat().st_mode == usual.stat().st_mode
    assert stat.S_IMODE(private.stat().st_mode) == 0o600


@posix_only
def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real").write_text("before")
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", "after")

    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "after"


@posix_only
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()))
    reader.start()
    write_whole(pipe, "through")
    reader.join(10)

    assert read == ["through"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("name", ["", "no/such/folder/out"])
def test_a_place_that_cannot_hold_a_file_is_an_error_with_a_mend(tmp_path, name):
    with pytest.raises(UsageError) as told:
        write_whole(tmp_path / name, "x")
    assert str(tmp_path) in told.value.message
    assert told.value.remedy
