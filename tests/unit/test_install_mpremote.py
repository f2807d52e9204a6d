"""mpremote as it is found, missed, and understood."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest

from fake_board import FakeBoard, an_executable
from reelwright.errors import DeviceError, PortError, UsageError
from reelwright.install import mpremote
from reelwright.install.mpremote import Mpremote

pytestmark = pytest.mark.usefixtures("at_once")


def test_a_missing_mpremote_is_told_with_the_way_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    with pytest.raises(UsageError, match="pip install mpremote"):
        Mpremote("/dev/ttyNONE")


def test_the_mpremote_of_the_search_path_is_asked_for_its_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    an_executable(tmp_path / "bin", "1.20")
    with pytest.raises(UsageError, match=r"1\.20 is too old; 1\.26"):
        Mpremote("/dev/ttyNONE")
    an_executable(tmp_path / "bin", "1.26")
    Mpremote("/dev/ttyNONE")


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("mpremote: failed to access /dev/ttyX (it may be in use by another program)", PortError, "busy"),
        ("mpremote: could not enter raw repl", mpremote.BoardSilentError, "does not answer as a MicroPython"),
        ("Traceback ...\nOSError: [Errno 28] ENOSPC", DeviceError, "file system is full"),
        ("Traceback ...\nOSError: [Errno 5] EIO", DeviceError, "EIO"),
    ],
)
def test_what_mpremote_says_becomes_what_a_person_can_do(
    board: FakeBoard, text: str, kind: type[DeviceError], words: str
) -> None:
    failure = Mpremote(board.port_name)._why(text)
    assert type(failure) is kind
    assert words in failure.message
    assert failure.remedy


def test_the_real_mpremote_on_a_port_that_is_not_there_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("mpremote", reason="pip install mpremote")
    monkeypatch.setenv("PATH", str(Path(sys.executable).parent), prepend=os.pathsep)
    with pytest.raises(PortError, match="busy or not there"):
        Mpremote("/dev/ttyNONE").reset()
