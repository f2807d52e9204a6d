"""The failures a person can cause or meet, each with its mend and its exit code.

Any other exception is a bug of ours and keeps its traceback.
"""

from __future__ import annotations

import errno
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

COMMAND_LINE = "the command line"  # what an error calls it where it would name a file

EXIT_DONE = 0
EXIT_BUG = 1
EXIT_USAGE = 2
EXIT_DEVICE = 3
EXIT_TRIPPED = 4
EXIT_PAUSED = 5
EXIT_ABANDONED = 6
EXIT_INTERRUPTED = 130

EXIT_CODES = {
    EXIT_DONE: "done: the wind reached its target, or the question was answered",
    EXIT_BUG: "a fault of this program (a traceback is shown; please report it)",
    EXIT_USAGE: "the command line or a file is wrong",
    EXIT_DEVICE: "the port, the winder or this computer failed, or the winder has another job than this one",
    EXIT_TRIPPED: "a protective stop holds the winder, or it has lost the job in the middle: see --resume",
    EXIT_PAUSED: "brought to standstill before the target; the job can go on",
    EXIT_ABANDONED: "abandoned before the target",
    EXIT_INTERRUPTED: "interrupted by Ctrl-C",
}


class ReelwrightError(Exception):
    """Something that the person, the computer or the winder got wrong.

    message: what is wrong and where. remedy: what to do about it, a whole sentence.
    """

    exit_code = EXIT_DEVICE

    def __init__(self, message: str, remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message} {self.remedy}".strip()


class UsageError(ReelwrightError):
    """The command line or a file asks for something that cannot be."""

    exit_code = EXIT_USAGE


class NoRoomError(ReelwrightError):
    """A place takes no more of an output: the computer's failure, whatever names the place."""

    exit_code = EXIT_DEVICE


NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC))


def unwritable(place: Path | str, failure: OSError, remedy: str) -> ReelwrightError:
    """The error of an output that could not be written: NoRoomError, or UsageError for a place that cannot be right.

    remedy: for the latter.
    """
    message = f"{place} cannot be written: {failure.strerror}."
    if failure.errno in NO_ROOM:
        return NoRoomError(message, "Make room there, or write to another place.")
    return UsageError(message, remedy)


class Fault:
    """One thing wrong in a file: its path in the file, and a sentence with value, unit and mend."""

    __slots__ = ("message", "path")

    def __init__(self, path: str, message: str) -> None:
        self.path = path
        self.message = message

    def __repr__(self) -> str:
        return f"Fault({self.path!r}, {self.message!r})"


class FileFaultsError(UsageError):
    """All the faults of one file at once."""

    def __init__(self, source: str, faults: Sequence[Fault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        count = len(self.faults)
        lines = [f"{source} has {count} fault{'' if count == 1 else 's'}:"]
        lines += [f"  {fault.path}: {fault.message}" for fault in self.faults]
        super().__init__("\n".join(lines))


class DeviceError(ReelwrightError):
    """The port, the link or the winder failed. What can go wrong between host and winder is one of these:

    PortError, NotAWinderError, OtherVersionError, LinkLostError, or a refusal by the winder (device.client).
    """


class PortError(DeviceError):
    """The port cannot be opened: it is not there, not free, not allowed, or no serial port."""


class NoPortError(PortError):
    """Nothing is at the port. board_remedy: what to do where only a real board would do, and no simulated one."""

    def __init__(self, message: str, remedy: str, board_remedy: str) -> None:
        super().__init__(message, remedy)
        self.board_remedy = board_remedy


class NotAWinderError(DeviceError):
    """What is on the port does not answer as a winder."""


class OtherVersionError(DeviceError):
    """The winder speaks another major version of the link."""


class LinkLostError(DeviceError):
    """The port went away, or the winder fell silent, after it had answered."""


class PortGoneError(LinkLostError):
    """The port itself went away: nobody was silent, it was closed."""
