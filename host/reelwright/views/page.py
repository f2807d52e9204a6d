"""A long answer, drawn once and shown on a terminal or kept as plain text."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console

from reelwright.views.signs import writable

if TYPE_CHECKING:
    from collections.abc import Callable

FILE_WIDTH = 100  # columns


def terminal_page(draw: Callable[[Console], None]) -> str:
    """What `draw` prints for standard output: coloured where it can, with stand-ins for signs that it lacks."""
    console = Console(highlight=False)
    with console.capture() as captured:
        draw(console)
    return writable(_without_blanks(captured.get()), console.encoding)


def plain_page(draw: Callable[[Console], None], width: int = FILE_WIDTH) -> str:
    """What `draw` prints as plain text, so many columns wide."""
    stream = StringIO()
    draw(Console(file=stream, width=width, color_system=None, highlight=False, legacy_windows=False))
    return _without_blanks(stream.getvalue())


def _without_blanks(text: str) -> str:
    """The text without the blanks that fill its lines up."""
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
