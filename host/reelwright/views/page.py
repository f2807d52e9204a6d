"""A long answer, drawn once and shown on a terminal or kept as plain text."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console

if TYPE_CHECKING:
    from collections.abc import Callable

FILE_WIDTH = 100  # columns


def terminal_page(draw: Callable[[Console], None]) -> str:
    """What `draw` prints for standard output: coloured where it can, signs that it lacks as question marks."""
    console = Console(highlight=False)
    with console.capture() as captured:
        draw(console)
    return _without_blanks(captured.get()).encode(console.encoding, "replace").decode(console.encoding)


def plain_page(draw: Callable[[Console], None], width: int = FILE_WIDTH) -> str:
    """What `draw` prints as plain text, so many columns wide."""
    stream = StringIO()
    draw(Console(file=stream, width=width, color_system=None, highlight=False, legacy_windows=False))
    return _without_blanks(stream.getvalue())


def _without_blanks(text: str) -> str:
    """The text without the blanks that fill its lines up."""
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
