"""Files onto a board, in steps of which each may be the last, and which may all be taken again.

New files gather beside the old ones and are proven by their hashes before any takes its place. No main.py stands at the
root meanwhile: whatever restarts the board then, it comes up without a control loop, and the motor stays off.
"""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING, Any

from attrs import frozen

from reelwright.device.discovery import entry_of, name_now
from reelwright.device.patience import patience
from reelwright.device.port import Port
from reelwright.errors import DeviceError, LinkLostError, PortError
from reelwright.install.mpremote import BoardSilentError
from reelwright.install.on_board import INCOMING
from reelwright.machines.boards import BoardFacts, boards

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from reelwright.install.manifest import BoardFile
    from reelwright.install.mpremote import Mpremote

LEAST_VERSION = (1, 26)
SETTLE_S = 1.5  # from a reset until the port of before is gone for sure
RETURN_S = 20.0  # for the port to come back
PROMPT_S = 20.0  # until a start that leaves the port has come to its prompt: it loads the whole firmware first
_LOOK_S = 0.3
TRIES = 4  # of the first question after a reset, while the board still starts
_ROOM_BYTES = 16384  # beside the files, for the file system's own and the journal


@frozen
class Found:
    """What the board says of itself. Hashes by path, None for a file that is not there."""

    facts: BoardFacts
    version: tuple[int, ...]
    bytecode: int
    free_bytes: int
    in_place: dict[str, str | None]
    on_their_way: dict[str, str | None]
    main_sha256: str | None
    installed: dict[str, str] | None


def look(board: Mpremote, paths: Sequence[str]) -> Found:
    """Who the board is, and which of these files it has. Raises DeviceError for what cannot be a winder's board."""
    told = board.ask(f"look({list(paths)!r})")
    version = tuple(told["version"])
    if told["interpreter"] != "micropython" or version < LEAST_VERSION:
        raise DeviceError(
            f"The board runs {told['interpreter']} {'.'.join(map(str, version))}; the firmware needs MicroPython "
            f"{'.'.join(map(str, LEAST_VERSION))} or newer.",
            "Load a newer MicroPython onto the board as its maker says, then give the command again.",
        )
    return Found(
        facts=_kind(told["platform"], told["machine"]),
        version=version,
        bytecode=told["bytecode"],
        free_bytes=told["free_bytes"],
        in_place=told["in_place"],
        on_their_way=told["on_their_way"],
        main_sha256=told["main_sha256"],
        installed=told["installed"],
    )


def _kind(platform: str, machine: str) -> BoardFacts:
    """The kind of a board that calls itself, say, "Raspberry Pi Pico with RP2040"."""
    chip = machine.rpartition(" with ")[2]
    for facts in boards().values():
        if (facts.platform, facts.chip) == (platform, chip):
            return facts
    known = ", ".join(f"{facts.title} ({facts.chip})" for facts in boards().values())
    raise DeviceError(f'There is no firmware for "{machine}" ({platform}).', f"Take one of these boards: {known}.")


def deliver(
    board: Mpremote,
    files: Sequence[BoardFile],
    *,
    gone: Sequence[str] = (),
    kept: Sequence[str] = (),
    tell: Callable[[str], None],
) -> None:
    """Bring the files onto the board, remove those named `gone`, and start it anew. Raises DeviceError.

    kept: files that are not ours, and get another name. tell: called with a line as each step begins.
    """
    paths = [file.path for file in files]
    tell("Takes the program that is there out of the way, so that nothing turns meanwhile.")
    if board.ask(f"set_main_aside({paths!r}, {list(kept)!r})"):
        tell("The board starts without it.")
        restart(board)
    tell("Compares the files that are there with those that are wanted.")
    found = _patiently(lambda: look(board, paths))
    missing = [file for file in files if file.sha256 not in (found.in_place[file.path], found.on_their_way[file.path])]
    _check_room(found, missing)
    for position, file in enumerate(missing, 1):
        tell(f"{position} of {len(missing)}: {file.path}, {file.size} bytes")
        board.copy(file, f"{INCOMING}/{file.path}")
    tell("Proves by their hashes that all have arrived.")
    found = look(board, paths)
    _prove(files, {path: found.on_their_way[path] or found.in_place[path] for path in paths})
    tell("Puts them in place.")
    _prove(files, board.ask(f"put_in_place({paths!r}, {list(gone)!r})"))
    tell(f"{len(files)} files are in place, their hashes proven. The board starts.")
    restart(board)


def _check_room(found: Found, missing: Sequence[BoardFile]) -> None:
    needed = sum(file.size for file in missing) + _ROOM_BYTES
    if needed > found.free_bytes:
        raise DeviceError(
            f"The board has {found.free_bytes} bytes free, {needed} are needed.", "Remove files of yours from it."
        )


def _prove(files: Sequence[BoardFile], hashes: dict[str, Any]) -> None:
    spoilt = [file.path for file in files if hashes[file.path] != file.sha256]
    if spoilt:
        raise DeviceError(
            f"These files are not on the board as they were sent: {', '.join(spoilt)}.",
            "Check the cable, then give the command again: it sends them anew.",
        )


def restart(board: Mpremote) -> None:
    """Reset the board and wait until its port is there again. Raises DeviceError."""
    port = ReturningPort(board.port_name)
    board.reset()
    board.port_name = port.wait()


def _patiently(question: Callable[[], Found]) -> Found:
    """The answer of a board that may still be starting."""
    for _ in range(TRIES - 1):
        try:
            return question()
        except (BoardSilentError, PortError):
            time.sleep(SETTLE_S * patience())
    return question()


def wait_for_prompt(port_name: str) -> None:
    """Wait until the interpreter's prompt answers an empty line, at most PROMPT_S.

    mpremote begins with Ctrl-C. That must not meet a board which still loads its program to learn that it was asked to
    leave the port: it would not learn it, and take the next start for the one that leaves the port. Whether a prompt
    came is for the step after this one to find.
    """
    until_s = time.monotonic() + PROMPT_S * patience()
    told = b""
    while time.monotonic() < until_s and not told.rstrip(b" ").endswith(b">>>"):
        try:
            port = Port(port_name)
        except PortError:
            time.sleep(_LOOK_S)  # it is there, but not for us yet
            continue
        try:
            while time.monotonic() < until_s and not told.rstrip(b" ").endswith(b">>>"):
                port.write(b"\r")
                told = told[-8:] + port.read(_LOOK_S)
        except LinkLostError:
            time.sleep(_LOOK_S)
        finally:
            port.close()


class ReturningPort:
    """A port that goes away with a reset and comes back, perhaps under another name. Make it before the reset."""

    def __init__(self, name: str) -> None:
        self._name = name
        entry = entry_of(name)
        self._serial_number = entry.serial_number if entry else None

    def wait(self) -> str:
        """The name of the port once it is back. Raises PortError."""
        # a board that restarts is still there for a moment, and would be taken for one that is back
        time.sleep(SETTLE_S * patience())
        until_s = time.monotonic() + RETURN_S * patience()
        while time.monotonic() < until_s:
            name = name_now(self._serial_number) if self._serial_number else self._name
            if name is not None and ("://" in name or os.name != "posix" or os.path.exists(name)):
                return name
            time.sleep(0.1)
        raise PortError(
            f"The port {self._name} did not come back after the board's restart.",
            "Plug the board in anew, then give the command again.",
        )
