"""A long answer, drawn once and shown on a terminal or kept as plain text."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console

if TYPE_CHECKING:
    from collections.abc import Callable

FILE_WIDTH = 100  # columns


def terminal_page(draw: Callable[[Console], None], encoding: str) -> str:
    """What `draw` prints, coloured where the terminal can; signs that its encoding lacks as question marks."""
    console = Console(highlight=False)
    with console.capture() as captured:
        draw(console)
    return captured.get().encode(encoding, "replace").decode(encoding)


def plain_page(draw: Callable[[Console], None]) -> str:
    """What `draw` prints as plain text, FILE_WIDTH columns wide."""
    stream = StringIO()
    draw(Console(file=stream, width=FILE_WIDTH, color_system=None, highlight=False, legacy_windows=False))
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"
