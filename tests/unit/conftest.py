"""Fixtures of the tests that write a machine file, and of those that install onto a board that is not there."""

from __future__ import annotations

import os
import subprocess
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from fake_board import FakeBoard, an_executable
from install_bench import MACHINE, small_firmware
from reelwright.install import delivery, installation, manifest, mpremote

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from machine_text import Write


@pytest.fixture
def written(tmp_path: Path) -> Write:
    """Writes this text as the machine file shed.toml."""

    def write(text: str) -> Path:
        path = tmp_path / "shed.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing settles here, and a silent board need not be waited for."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(delivery, "SETTLE_S", 0.0)
    monkeypatch.setattr(installation, "ANSWERS_S", 1.0)
    monkeypatch.setattr(installation, "STANDS_S", 0.0)
    monkeypatch.setattr("reelwright.device.client.GIVE_UP_HELLO_S", 0.4)


@pytest.fixture
def firmware(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small firmware in place of the program's."""
    folder = small_firmware(tmp_path / "firmware")
    monkeypatch.setattr(manifest, "firmware_folder", lambda: folder)
    return folder


@pytest.fixture
def board(firmware: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeBoard]:  # noqa: ARG001 - its firmware comes first
    """A bare board behind a port, and an mpremote that reaches it."""
    board = FakeBoard(tmp_path / "board")
    an_executable(tmp_path / "bin", "1.29")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"), prepend=os.pathsep)
    run = SimpleNamespace(
        run=lambda command, **_: board.mpremote(command[1:]),
        DEVNULL=subprocess.DEVNULL,
        TimeoutExpired=subprocess.TimeoutExpired,
    )
    monkeypatch.setattr(mpremote, "subprocess", run)
    yield board
    board.close()


@pytest.fixture
def machine(tmp_path: Path) -> str:
    """A machine file for it."""
    path = tmp_path / "shed.toml"
    path.write_text(MACHINE, encoding="utf-8")
    return str(path)
