"""Writes a file that a command was asked for: whole, or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from typing import TYPE_CHECKING

from reelwright.errors import UsageError, unwritable

if TYPE_CHECKING:
    from pathlib import Path


def keep_apart(option: str, path: str | None, job_path: str | None) -> None:
    """Refuse an output that would overwrite the job file, through whatever link. Raises UsageError."""
    if path and job_path and os.path.realpath(path) == os.path.realpath(job_path):
        raise UsageError(f"{option} {path} would overwrite the job file.", "Name another file.")


def write_whole(path: Path, text: str) -> None:
    """Writes text as UTF-8, line breaks as they are; what was there before stays until all of it is on the disk.

    A device or a pipe is written to as it stands. Raises UsageError when the file cannot be written, NoRoomError
    when nothing more goes there.
    """
    if path.is_dir():
        raise UsageError(f"{path} is a folder.", "Name a file in it.")
    try:
        if path.exists() and not path.is_file():
            path.write_text(text, encoding="utf-8", newline="")
        else:
            _replace(path.resolve(), text)  # through a link, so that the link stays one
    except OSError as failure:
        raise unwritable(path, failure, "Name a file in a folder that exists and takes it.") from failure


def _replace(path: Path, text: str) -> None:
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~umask()
    descriptor, unfinished = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(unfinished, mode)
        os.replace(unfinished, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(unfinished)
        raise


def umask() -> int:
    """The rights that a new file of this process is not given."""
    mask = os.umask(0)  # can only be read by setting it
    os.umask(mask)
    return mask
