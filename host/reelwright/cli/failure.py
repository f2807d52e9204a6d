"""How a command that fails says so: prose for people on standard error, an object for scripts, one exit code.

A command given --json ends its standard output with one object of this failure, so that whoever reads it line by
line needs no prose: kind "error", exit_code, message, remedy, and faults, each with where and message.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from contextlib import suppress
from typing import NoReturn

import click

from reelwright.errors import NO_ROOM, FileFaultsError, ReelwrightError, UsageError, unwritable


def end_for(failure: ReelwrightError) -> NoReturn:
    """Tell of a failure and end with its exit code."""
    faults = failure.faults if isinstance(failure, FileFaultsError) else ()
    _tell_script(
        failure.exit_code,
        failure.message,
        failure.remedy,
        [{"where": fault.path, "message": fault.message} for fault in faults],
    )
    from reelwright.cli.prose import say

    say(f"Error: {failure.message}", err=True)
    if failure.remedy:
        say(failure.remedy, err=True)
    sys.exit(failure.exit_code)


def end_for_mistake(mistake: click.ClickException) -> NoReturn:
    """Tell of a command line that cannot be read, in click's own words."""
    from reelwright.cli.prose import say

    _tell_script(mistake.exit_code, mistake.format_message(), "", [])
    told = io.StringIO()
    mistake.show(told)
    say(told.getvalue().rstrip("\n"), err=True)
    sys.exit(mistake.exit_code)


def end_for_computer(failure: OSError) -> NoReturn:
    """Tell of an output that takes no more, or else of whatever else the computer could not do."""
    if failure.filename is not None:
        place_is = "Look whether the place is there and free."
        end_for(ReelwrightError(f"{failure.filename}: {failure.strerror}.", place_is))
    if failure.errno in (*NO_ROOM, errno.EBADF):  # what is written by name says so itself
        let_go_of_output()
        if failure.errno == errno.EBADF:
            end_for(UsageError("Standard output is closed, so the answer cannot be told.", "Leave it open."))
        end_for(unwritable("The output", failure, "Write to another place."))
    end_for(ReelwrightError(f"The computer failed: {failure}.", "Give the command again; look what else is running."))


def open_what_is_closed() -> None:
    """Give the program nothing to read, and errors nowhere to go, where it was started with a standard stream closed.

    A file that it opens would take the stream's number else, and be written over. Standard output is what a command is
    for: writing to it fails as it does on a closed one.
    """
    for name, mode, access in (("stdin", "r", os.O_RDONLY), ("stdout", "w", os.O_RDONLY), ("stderr", "w", os.O_WRONLY)):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, access), mode, encoding="utf-8"))


def let_go_of_output() -> None:
    """Nothing more goes to standard output, so that the interpreter does not fail on it at its end."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - lives as long as the program


def _tell_script(exit_code: int, message: str, remedy: str, faults: list[dict[str, str]]) -> None:
    if "--json" not in sys.argv[1:]:
        return
    from reelwright.json_text import json_text

    told = {"kind": "error", "exit_code": exit_code, "message": message, "remedy": remedy, "faults": faults}
    with suppress(OSError):
        click.echo(json_text(told))
