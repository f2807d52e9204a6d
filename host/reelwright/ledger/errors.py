"""What can go wrong with the ledger, in words for a person."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from reelwright.errors import ReelwrightError

if TYPE_CHECKING:
    from pathlib import Path

ELSEWHERE = "Or set REELWRIGHT_HOME to another folder."

# SQLite's primary result codes (sqlite.org/rescode.html) -> what is wrong, what to do.
_SAYINGS = {
    sqlite3.SQLITE_BUSY: ("is in use by another program", "Close what holds it open, then try again."),
    sqlite3.SQLITE_LOCKED: ("is in use by another program", "Close what holds it open, then try again."),
    sqlite3.SQLITE_FULL: ("cannot grow, because the disk is full", f"Free some room, then try again. {ELSEWHERE}"),
    sqlite3.SQLITE_READONLY: ("may not be written", f"Give yourself the right to write it. {ELSEWHERE}"),
    sqlite3.SQLITE_PERM: ("may not be written", f"Give yourself the right to write it. {ELSEWHERE}"),
    sqlite3.SQLITE_CANTOPEN: (
        "cannot be opened",
        f"Check that it is a file in a folder that you may write. {ELSEWHERE}",
    ),
    sqlite3.SQLITE_CORRUPT: ("is damaged", f"Move it away and put a copy in its place. {ELSEWHERE}"),
    sqlite3.SQLITE_NOTADB: ("is no ledger", f"Move that file away. {ELSEWHERE}"),
    sqlite3.SQLITE_IOERR: ("could not be read or written by the system", f"Check the disk. {ELSEWHERE}"),
}
_PRIMARY = 0xFF  # the low byte of an extended result code


class LedgerError(ReelwrightError):
    """The ledger cannot be read or written, or lacks what was asked for."""


def told(path: Path | str, failure: sqlite3.Error) -> LedgerError | None:
    """The failure in words, or None when it is no fault of the disk, the file or another program: a bug of ours."""
    code = getattr(failure, "sqlite_errorcode", None)
    if code is None or code & _PRIMARY not in _SAYINGS:
        return None
    what, remedy = _SAYINGS[code & _PRIMARY]
    return LedgerError(f"The ledger {path} {what} ({failure}).", remedy)
