"""Every line of the link with its time, for a person to read afterwards."""

from __future__ import annotations

import time
from contextlib import suppress
from typing import TYPE_CHECKING

from reelwright.errors import unwritable

if TYPE_CHECKING:
    from pathlib import Path


class Transcript:
    """A text file of lines: seconds since the start, `host` or `winder`, the line with odd bytes escaped."""

    def __init__(self, path: Path) -> None:
        try:
            self._file = path.open("w", encoding="ascii", buffering=1)
        except OSError as failure:
            raise unwritable(f"The transcript {path}", failure, "Give another file.") from failure
        self._start_s = time.monotonic()
        self.fault = ""  # why it ends early, when it does

    def keep(self, sender: str, line: bytes) -> None:
        """Add one line."""
        text = line.rstrip(b"\r\n").decode("ascii", "backslashreplace")
        text = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
        if self.fault:
            return
        try:
            self._file.write(f"{time.monotonic() - self._start_s:10.4f} {sender:6} {text}\n")
        except OSError as failure:
            # the wind matters more than its transcript
            self.fault = f"The transcript ends early: {failure.strerror}."

    def close(self) -> None:
        """Close the file."""
        with suppress(OSError):
            self._file.close()
