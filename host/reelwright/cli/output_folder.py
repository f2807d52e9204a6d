"""Writes the files that a command was asked for into a new folder: all of them, or none."""

from __future__ import annotations

import os
import shutil
import tempfile
from typing import TYPE_CHECKING

from reelwright.cli.output_file import umask
from reelwright.errors import UsageError, unwritable

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

ELSEWHERE = "Name a folder in a place that takes it."


def refuse_used(folder: Path) -> None:
    """Raises UsageError where the folder holds anything, is a file, or has no place to be in."""
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file.", "Name a folder that does not exist yet.")
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError(
            f"The folder {folder} holds files already, and nothing is overwritten.",
            "Name a folder that is new or empty.",
        )
    if not folder.absolute().parent.is_dir():
        raise UsageError(f"{folder.absolute().parent} does not exist.", "Make that folder first, or name another.")


def write_folder(folder: Path, contents: Mapping[str, str | bytes], check: Callable[[Path], None]) -> None:
    """Writes each content under its name; the folder appears once all are on the disk and `check` of it has passed.

    Text is written as UTF-8. Raises UsageError where it cannot be written or holds files, NoRoomError where nothing
    more goes there, and what `check` raises.
    """
    refuse_used(folder)
    folder = folder.absolute()
    try:
        unfinished = type(folder)(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    except OSError as failure:
        raise unwritable(folder, failure, ELSEWHERE) from failure
    try:
        for name, content in contents.items():
            with open(unfinished / name, "wb") as file:
                file.write(content.encode() if isinstance(content, str) else content)
                file.flush()
                os.fsync(file.fileno())
        check(unfinished)
        os.chmod(unfinished, 0o777 & ~umask())
        if folder.is_dir():
            folder.rmdir()  # empty, or it refuses
        os.rename(unfinished, folder)
    except OSError as failure:
        raise unwritable(folder, failure, ELSEWHERE) from failure
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
