"""Sentences for a person: whole words on each line of a terminal, and one line each wherever else they go."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap

import click

from reelwright.views.signs import writable
from reelwright.views.untrusted import plain_lines

_HELD = "\x1f"  # a space that no line is broken at; plain text has no such sign


def say(text: str, *, err: bool = False) -> None:
    """Tell text, which may quote a file or a device, on standard output or standard error."""
    text = plain_lines(text)
    stream = sys.stderr if err else sys.stdout
    if stream.isatty():
        text = wrapped(text, shutil.get_terminal_size().columns)
    click.echo(writable(text, stream.encoding or "utf-8"), err=err)


def wrapped(text: str, columns: int) -> str:
    """Each line broken between words where it is longer, with its indent on what follows.

    No word is broken, and no `command`: a terminal shows it on two lines by itself, and it is still pasted as one.
    """
    return "\n".join(_lines(line, columns) for line in text.split("\n"))


def _lines(line: str, columns: int) -> str:
    indent = line[: len(line) - len(line.lstrip(" "))]
    held = re.sub("`[^`]*`", lambda command: command[0].replace(" ", _HELD), line)
    filled = textwrap.fill(held, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return filled.replace(_HELD, " ")
