"""A folder that a command writes has all its files, or is not there."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from reelwright.cli.output_folder import write_folder
from reelwright.errors import NoRoomError, UsageError

if TYPE_CHECKING:
    from pathlib import Path

TEXTS = {"a.toml": "one\n", "b.txt": "µ\n"}


def passes(_folder: Path) -> None:
    """A check with nothing to say."""


@pytest.mark.parametrize("is_there", [False, True], ids=["new", "empty"])
def test_all_files_are_written_and_nothing_besides(tmp_path: Path, is_there: bool) -> None:
    folder = tmp_path / "out"
    if is_there:
        folder.mkdir()
    write_folder(folder, TEXTS, passes)
    assert {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()} == TEXTS
    assert list(tmp_path.iterdir()) == [folder]
    usual = tmp_path / "usual"
    usual.mkdir()
    assert folder.stat().st_mode == usual.stat().st_mode


def test_what_is_there_is_never_touched(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("mine")
    with pytest.raises(UsageError, match="nothing is overwritten"):
        write_folder(tmp_path, TEXTS, passes)
    with pytest.raises(UsageError, match="is a file"):
        write_folder(tmp_path / "mine.toml", TEXTS, passes)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]
    assert (tmp_path / "mine.toml").read_text() == "mine"


def test_a_place_that_does_not_exist_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="does not exist"):
        write_folder(tmp_path / "no" / "out", TEXTS, passes)


@pytest.mark.parametrize("failing", ["fsync", "rename"])
def test_a_failure_half_way_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, failing, fails)
    with pytest.raises(NoRoomError, match="No space left on device"):
        write_folder(tmp_path / "out", TEXTS, passes)
    assert list(tmp_path.iterdir()) == []


def test_files_that_do_not_pass_their_check_are_not_left(tmp_path: Path) -> None:
    def refuses(_folder: Path) -> None:
        raise UsageError("no good")

    with pytest.raises(UsageError, match="no good"):
        write_folder(tmp_path / "out", TEXTS, refuses)
    assert list(tmp_path.iterdir()) == []
