"""What all tests share: the option that names a board to be tried, and when they run side by side."""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from pathlib import Path


def pytest_addoption(parser: pytest.Parser) -> None:
    """A real board, or an emulated one: see tests/board."""
    parser.addoption("--board-port", metavar="PORT", help="serial port of a board with MicroPython, for tests/board")
    parser.addoption(
        "--board-machine",
        metavar="MACHINE.toml",
        help="its machine file (default: tests/board/pico.toml, whose jumpers are told there)",
    )


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """One process where a board can serve only one, or where somebody wants to see what is printed (-s)."""
    return 0 if config.getoption("--board-port") or config.getoption("capture") == "no" else None


# a busy machine is slow, and no fault of what is tested
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_configure() -> None:
    """Let Ctrl-C be heard: what a shell starts in the background is deaf to it, and so would be what tests start."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def own_profiles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A profile folder of the test's own, so that the tester's spools do not matter."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    folder = tmp_path / "home" / "profiles"
    folder.mkdir(parents=True)
    return folder
