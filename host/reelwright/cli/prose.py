"""Sentences for a person: whole words on each line of a terminal, and one line each wherever else they go."""

from __future__ import annotations

import shutil
import sys
import textwrap

import click

from reelwright.views.signs import writable
from reelwright.views.untrusted import plain_lines


def say(text: str, *, err: bool = False) -> None:
    """Tell text, which may quote a file or a device, on standard output or standard error."""
    text = plain_lines(text)
    stream = sys.stderr if err else sys.stdout
    if stream.isatty():
        text = wrapped(text, shutil.get_terminal_size().columns)
    click.echo(writable(text, stream.encoding or "utf-8"), err=err)


def wrapped(text: str, columns: int) -> str:
    """Each line broken between words where it is longer, with its indent on what follows. No word is broken."""
    return "\n".join(_lines(line, columns) for line in text.split("\n"))


def _lines(line: str, columns: int) -> str:
    indent = line[: len(line) - len(line.lstrip(" "))]
    return textwrap.fill(line, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
