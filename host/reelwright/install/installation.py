"""The whole way of an installation: standstill, a free port, the files, a restart, and the winder's own word."""

from __future__ import annotations

import time
from contextlib import closing
from typing import TYPE_CHECKING

from reelwright.device.client import Client, RefusedError, Winder
from reelwright.device.lock import PortLock
from reelwright.device.patience import patience
from reelwright.device.port import Port
from reelwright.errors import DeviceError, NotAWinderError, OtherVersionError, PortError, UsageError
from reelwright.install.bytecode import FORMAT
from reelwright.install.delivery import Found, ReturningPort, deliver, look, wait_for_prompt
from reelwright.install.manifest import BOOT, BoardFile, compiled_files, firmware_files, firmware_version, record_of
from reelwright.install.mpremote import Mpremote
from reelwright.install.on_board import KEPT, MAIN
from reelwright.machines import compiled_text
from reelwright.machines.boards import boards
from reelwright.operation.maintenance import free_port
from reelwright.profiles.values import printable
from windlink import codes
from windlink.pins import FILE, capabilities

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.machines import MachineFile
    from reelwright.machines.boards import BoardFacts

    Tell = Callable[[str], None]

STANDS_S = 15.0  # that a spool may take to stand, or a winder that has just started to know that it does
ANSWERS_S = 30.0  # from the last reset until the winder must have answered `hello`


def machine_file(machine: MachineFile) -> BoardFile:
    """The machine's description as a file of the board."""
    return BoardFile(FILE, compiled_text(machine).encode())


def files_for(facts: BoardFacts, machine: MachineFile | None, *, compiled: bool) -> tuple[BoardFile, ...]:
    """All that an installation brings, in the order in which it takes its place: main.py last. Raises DeviceError."""
    firmware = firmware_files(facts)
    *most, main = compiled_files(firmware) if compiled else firmware
    described = () if machine is None else (machine_file(machine),)
    return (*most, record_of((*most, main), firmware_version()), *described, main)


def install(
    port_name: str,
    machine: MachineFile | None,
    *,
    compiled: bool = False,
    at_rest: bool = False,
    overwrite: bool = False,
    tell: Tell,
) -> Winder | None:
    """Bring the firmware, and with it a machine's description, onto the board. Who answers then.

    None where no machine is described on the board yet, so that its program has no pins to work with. at_rest: the
    operator has seen to it that nothing turns, where the board's program cannot be asked. overwrite: a main.py that is
    not ours gives way. Raises DeviceError, UsageError; run again it goes on from where it was broken off.
    """
    board_name = free_for_uploads(port_name, at_rest=at_rest, tell=tell)
    with closing(_Hold(board_name)):
        board = Mpremote(board_name)
        tell("Asks the board by mpremote what it is, and what is on it.")
        found = look(board, [FILE, BOOT, MAIN])
        _check_kind(found, machine)
        if compiled and found.bytecode != FORMAT:
            raise DeviceError(
                f"This MicroPython reads bytecode of version {found.bytecode}, not {FORMAT}.", "Leave out --compiled."
            )
        files = files_for(found.facts, machine, compiled=compiled)
        strangers = _strangers(found, files)
        if MAIN in strangers and not overwrite:
            raise UsageError(
                "The board has a main.py that is not this program's.",
                "Save what you need of it, then give --overwrite: it is kept there as main_before.py.",
            )
        for path in strangers:
            tell(f"{path} is not this program's, and stays on the board as {path.replace('.py', KEPT)}.")
        deliver(board, files, gone=_out_of_date(found, files), kept=strangers, tell=tell)
        described = machine is not None or found.in_place[FILE] is not None
        board_name = board.port_name
    return proven(board_name, found.facts, machine, tell=tell) if described else None


def push(port_name: str, machine: MachineFile, *, at_rest: bool = False, tell: Tell) -> Winder:
    """Bring a machine's description onto a board that has the firmware. Who answers then. Raises as `install` does."""
    board_name = free_for_uploads(port_name, at_rest=at_rest, tell=tell)
    with closing(_Hold(board_name)):
        board = Mpremote(board_name)
        tell("Asks the board by mpremote what it is, and what is on it.")
        found = look(board, [MAIN])
        _check_kind(found, machine)
        if found.installed is None or not (found.main_sha256 or found.on_their_way[MAIN]):
            raise UsageError("The firmware is not on this board.", "Give `reelwright install` with --machine.")
        deliver(board, (machine_file(machine),), tell=tell)
        board_name = board.port_name
    return proven(board_name, found.facts, machine, version=None, tell=tell)


class _Hold:
    """Keeps this program's other commands off the port while mpremote has it."""

    def __init__(self, port_name: str) -> None:
        self._lock = PortLock(port_name)

    def close(self) -> None:
        self._lock.release()


def free_for_uploads(port_name: str, *, at_rest: bool, tell: Tell) -> str:
    """Have the winder's program leave the port, at standstill. The port's name then. Raises DeviceError, UsageError.

    at_rest: as for `install`; it also stands against a winder whose sensor tells of turns that there are none of, with
    its drive off, since no other machine file could mend that then.
    """
    waiting = ReturningPort(port_name)
    port = Port(port_name)
    tell(f"Asks who is on {port_name}.")
    try:
        client = Client(port)
        winder = client.hello()
        if winder.board not in boards():
            # what is simulated has no flash, and mpremote would wait for its prompt for minutes
            raise UsageError(
                f"The winder on {port_name} is {printable(winder.board)}: no board that firmware can be put on.",
                "Name the port of a board with --port.",
            )
        tell(f"Firmware {winder.firmware} on {winder.board} answers. Once its spool stands it leaves the port.")
        free_port(client, stands_within_s=STANDS_S)
    except NotAWinderError:
        tell("No winder's program answers: a board that has none yet, or one whose installation was broken off.")
        return port_name
    except OtherVersionError as other:
        if not at_rest:
            raise DeviceError(other.message, _SEE_TO_REST) from other
        return port_name
    except RefusedError as refused:
        if refused.code == codes.STILL_TURNS:
            if not at_rest:
                raise DeviceError(refused.message, _OR_SENSOR) from refused
            tell("The winder says that its spool still turns. Its drive is off, and you say that the spool stands.")
            return port_name
        if refused.code != codes.UNKNOWN_REQUEST:
            raise
        if not at_rest:
            raise DeviceError(f"The firmware there is older: {refused.message}", _SEE_TO_REST) from refused
        return port_name
    finally:
        port.close()
    tell("It stands still and leaves the port. Its board starts, and comes to its prompt.")
    name = waiting.wait()
    wait_for_prompt(name)
    return name


_OR_SENSOR = (
    "Wait until the spool stands. If it does, and its sensor or the pin named for it tells otherwise, give the command"
    " again with --at-rest."
)
_SEE_TO_REST = "See to it that the spool stands and no job runs, then give the command again with --at-rest."


def _check_kind(found: Found, machine: MachineFile | None) -> None:
    if machine is not None and machine.board.facts.kind != found.facts.kind:
        raise UsageError(
            f"The board is {found.facts.a_title()}, the machine file is for {machine.board.facts.a_title()}.",
            f'Take the other board, or set board.kind = "{found.facts.kind}" and check the pins again.',
        )


def _strangers(found: Found, files: tuple[BoardFile, ...]) -> list[str]:
    """Which of the two files that a board runs by itself no installation of ours has put there."""
    known = {file.path: {file.sha256, None} for file in files}
    for path, sha256 in (found.installed or {}).items():
        known.setdefault(path, set()).add(sha256)
    return [path for path in (MAIN, BOOT) if found.in_place[path] not in known[path]]


def _out_of_date(found: Found, files: tuple[BoardFile, ...]) -> list[str]:
    """What an earlier installation has put there and this one does not; source would go before its bytecode."""
    wanted = {file.path for file in files}
    before = set(found.installed or ()) - wanted
    twins = {path.removesuffix(".mpy") + ".py" for path in wanted if path.endswith(".mpy")}
    return sorted(before | twins)


def proven(
    port_name: str, facts: BoardFacts, machine: MachineFile | None, *, version: str | None = "", tell: Tell
) -> Winder:
    """Who answers `hello` on the board, once it is what was installed. Raises DeviceError.

    version: of the firmware that must answer; "" for this program's own, None for any.
    """
    tell("Waits for the word of the winder's program.")
    winder = _answering(port_name)
    wanted = firmware_version() if version == "" else version
    if wanted is not None and winder.firmware != wanted:
        raise DeviceError(f"Firmware {winder.firmware} answers, not {wanted}.", "Give the command again.")
    if winder.board != facts.kind:
        raise DeviceError(f'The board calls itself "{winder.board}", not "{facts.kind}".', "Report it.")
    lacking = 0 if machine is None else capabilities(machine.board.pins, machine.board.numbers) & ~winder.capabilities
    if lacking:
        from windlink.sentences import CAPABILITIES

        words = ", ".join(saying.word for bit, saying in CAPABILITIES.items() if lacking & bit)
        raise DeviceError(f"The machine file has pins for {words}, but the winder says it cannot.", "Report it.")
    tell(f"The winder answers: firmware {winder.firmware} on {winder.board}.")
    return winder


def _answering(port_name: str) -> Winder:
    until_s = time.monotonic() + ANSWERS_S * patience()
    while True:
        try:
            port = Port(port_name)
            try:
                return Client(port).hello()
            finally:
                port.close()
        except (NotAWinderError, PortError) as silence:
            if time.monotonic() >= until_s:
                raise DeviceError(
                    f"All files are on the board and proven, but its program does not answer: {silence.message}",
                    "Press the board's reset button and give `reelwright checkup`; if that helps not, install again.",
                ) from silence
            time.sleep(0.5)
