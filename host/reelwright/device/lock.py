"""A lock file for each port in use, as other programs for serial ports keep and honour it.

The open's own exclusive flag keeps out only programs that ask for it too. The name and form of the file are those of
the Filesystem Hierarchy Standard 3.0, section 5.9: `LCK..` and the device's name, holding the owner's process number
as ten characters and a line feed. A second line marks the files of this program, which are also locked as long as it
lives: one that a killed command left behind is seen to be nobody's, whoever has its process number by then.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from reelwright.errors import PortError

FOLDER = Path("/run/lock")  # /var/lock of the standard is a link to it, or the other way round
OURS = "reelwright\n"


class PortLock:
    """Held from its making to `release`. Where no lock file can be written, it is nothing and does nothing."""

    def __init__(self, port_name: str, folder: Path | None = None) -> None:
        """Raises PortError when another program that lives holds the port."""
        device = os.path.realpath(port_name).removeprefix("/dev/").replace("/", "_")
        self._port_name = port_name
        self._path = (folder or FOLDER) / f"LCK..{device}"
        self._descriptor: int | None = None
        if os.name == "posix" and "://" not in port_name:
            self._take()

    def release(self) -> None:
        """Give the port free. Again does nothing."""
        if self._descriptor is not None:
            with suppress(OSError):
                self._path.unlink()
            os.close(self._descriptor)
            self._descriptor = None

    def _take(self) -> None:
        import fcntl

        while True:
            try:
                descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
            except OSError:
                # no such folder, or another person's file: the exclusive open alone must do
                return
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                owner = _owner(descriptor)[0]
                os.close(descriptor)
                raise self._busy(owner) from None
            if self._is_still(descriptor):
                break
            os.close(descriptor)  # its owner has just let go and removed it
        owner, ours = _owner(descriptor)
        if owner != os.getpid() and not ours and _lives(owner):
            os.close(descriptor)
            raise self._busy(owner)
        with suppress(OSError):  # a full disk takes no number, and the lock holds without it
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid():10d}\n{OURS}".encode(), 0)
        self._descriptor = descriptor

    def _is_still(self, descriptor: int) -> bool:
        try:
            return os.fstat(descriptor).st_ino == self._path.stat().st_ino
        except OSError:
            return False

    def _busy(self, owner: int) -> PortError:
        who = f" (process {owner})" if owner else ""
        return PortError(
            f"The port {self._port_name} is busy: another program holds it{who}.",
            f"Close the other program, then try again. If there is none, remove {self._path}.",
        )


def _owner(descriptor: int) -> tuple[int, bool]:
    """Process number in a lock file, 0 for none, and whether the file is this program's kind."""
    number, _, rest = os.pread(descriptor, 64, 0).decode("ascii", "replace").partition("\n")
    return (int(number) if number.strip().isdecimal() else 0), rest == OURS


def _lives(process: int) -> bool:
    if process <= 0:
        return False
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # it lives, and is another person's
        return True
    return True
