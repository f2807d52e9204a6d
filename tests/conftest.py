"""What all tests share: the option that names a board to be tried."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """A real board, or an emulated one: see tests/board."""
    parser.addoption("--board-port", metavar="PORT", help="serial port of a board with MicroPython, for tests/board")
    parser.addoption(
        "--board-machine",
        metavar="MACHINE.toml",
        help="its machine file (default: tests/board/pico.toml, whose jumpers are told there)",
    )
