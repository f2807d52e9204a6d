"""An output that can go away without hurting anyone: the wind goes on, and is recorded, when nobody reads."""

from __future__ import annotations

import contextlib
import errno
import os
from typing import TextIO

from reelwright.views.signs import writable

# What a pipe without a reader reports: EPIPE, EINVAL on Windows; EIO is a terminal that was closed.
NOBODY_READS = (errno.EPIPE, errno.EINVAL, errno.EIO)


class Outlet:
    """Writes to a text stream until that fails once, then keeps silent.

    A reader that went away is normal and is not mentioned. Any other failure, such as a full disk, is told
    once on `errors`. Has what rich expects of a file.

    fails: the output is all that the command is for, so such a failure is raised instead.
    """

    def __init__(self, stream: TextIO, errors: TextIO, *, fails: bool = False) -> None:
        self._stream = stream
        self._errors = errors
        self._fails = fails
        self.is_off = False

    @property
    def encoding(self) -> str:
        """Name of the stream's encoding."""
        return getattr(self._stream, "encoding", None) or "utf-8"

    def isatty(self) -> bool:
        """Whether the stream is a terminal."""
        try:
            return self._stream.isatty()
        except (OSError, ValueError):
            return False

    def fileno(self) -> int:
        """The stream's descriptor. Raises OSError when it has none."""
        return self._stream.fileno()

    def write(self, text: str) -> int:
        """Writes text; signs that the encoding lacks get stand-ins. Returns the length of the text."""
        if not self.is_off:
            try:
                self._write_what_fits(text)
            except (OSError, ValueError) as failure:
                self._turn_off(failure)
        return len(text)

    def _write_what_fits(self, text: str) -> None:
        try:
            self._stream.write(text)
        except UnicodeEncodeError:
            self._stream.write(writable(text, self.encoding))

    def flush(self) -> None:
        """Hands everything written to the system."""
        if not self.is_off:
            try:
                self._stream.flush()
            except (OSError, ValueError) as failure:
                self._turn_off(failure)

    def line(self, text: str) -> None:
        """Writes one line and flushes, so that a reader has it at once."""
        self.write(text + "\n")
        self.flush()

    def _turn_off(self, failure: OSError | ValueError) -> None:
        self.is_off = True
        # What the stream still buffers would fail again when the interpreter closes it, and end a good wind
        # with an error. The descriptor therefore leads nowhere from here on.
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            try:
                os.dup2(nowhere, self._stream.fileno())
            finally:
                os.close(nowhere)
        if isinstance(failure, OSError) and failure.errno not in NOBODY_READS:
            if self._fails:
                raise failure
            with contextlib.suppress(OSError, ValueError):
                self._errors.write(
                    f"The view was switched off, because its output failed: {failure.strerror}. "
                    "The wind goes on and is recorded.\n"
                )
                self._errors.flush()
