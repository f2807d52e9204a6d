"""A machine file: the winder's profile, and which pin of its board does what.

    [machine.NAME]    a machine's profile, as in a profile file: a job names it with machine.profile = "NAME"
    [board]           kind of board, how its inputs are wired, and the numbers of `windlink.pins.KEYS`
    [board.pins]      role = pin; the roles are `windlink.pins.ROLES`, and what has no pin is not there
    [wiring]          for who draws the wiring: `wiring_table.Wiring`; no board reads it

The file may lie among the person's profiles, so that one file serves plan and board.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Annotated, Any

from attrs import frozen

from reelwright.errors import FileFaultsError
from reelwright.machines.boards import ANY_BOARD, BoardFacts, boards
from reelwright.machines.pin_checks import check_board, check_wiring
from reelwright.machines.wiring_table import read_wiring
from reelwright.profiles.jobs import drafted
from reelwright.profiles.store import BOARD_TABLES
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import BadValueError, near, printable, read_value, shown
from reelwright.winding.quantities import Quantity
from windlink.pins import BY_NAME, DEFAULT_PULL, HIGHEST_PIN, IN, KEYS, LEVEL, PULLS

if TYPE_CHECKING:
    from reelwright.profiles.draft import Draft
    from reelwright.winding.job import Machine

_UNITS = {"hz": "Hz", "us": "us", "permille": "thousandths of the supply"}


@frozen
class BoardPins:
    """The [board] table: facts of its kind, pin by role, roles that act at a low level, pull by role, KEYS by name."""

    facts: BoardFacts
    pins: dict[str, int]
    active_low: tuple[str, ...]
    pulls: dict[str, str]
    numbers: dict[str, int]

    def pull(self, role: str) -> str:
        """The pull of an input: one of `windlink.pins.PULLS`."""
        return self.pulls.get(role, DEFAULT_PULL)


@frozen
class MachineFile:
    """A machine file that has passed. notes: what its maker should know, though nothing is wrong."""

    name: str
    machine: Machine
    board: BoardPins
    notes: tuple[str, ...]


def load_machine_file(path: str | os.PathLike[str]) -> MachineFile:
    """The machine of a file.

    Raises UsageError for a file that cannot be read and FileFaultsError with all its faults at once.
    """
    tables = read_toml(path)
    name, profile = _profile(tables)
    draft = drafted({"machine": profile} if profile is not None else {}, {}, ("machine",))
    if profile is None:
        draft.faults.clear()
        draft.fault("machine", "", "give the winder's profile in one table [machine.NAME], with a name of your own")
    for other in tables:
        if other not in ("machine", *BOARD_TABLES):
            known = ("machine", *BOARD_TABLES)
            draft.fault(other, "", f"no such table{near(other, known) or '; there are ' + ', '.join(known)}")
    board = read_board(draft, tables.get("board"))
    wiring = read_wiring(draft, tables.get("wiring"))
    if board:
        check_wiring(draft, board, wiring)
    notes = check_board(draft, board) if board else []
    if draft.faults or board is None:
        raise FileFaultsError(os.fspath(path), draft.faults)
    return MachineFile(name, draft.table("machine"), board, tuple(notes))


def _profile(tables: dict[str, object]) -> tuple[str, dict[str, object] | None]:
    named = tables.get("machine")
    if not isinstance(named, dict) or len(named) != 1:
        return "", None
    name, profile = next(iter(named.items()))
    return name, {"name": name, **profile} if isinstance(profile, dict) else None


def read_board(draft: Draft, table: object) -> BoardPins | None:
    """The [board] table of a machine file as far as it can be read; None where nothing of it can.

    Notes every fault of it in the draft.
    """
    kinds = boards()
    if not isinstance(table, dict):
        draft.fault("board", "", f"this table is missing; it needs kind ({', '.join(kinds)}) and [board.pins]")
        return None
    known = ("kind", "pins", "active_low", "pulls", *(key.name for key in KEYS))
    for key in table:
        if key not in known:
            suggestion = near(key, known) or (
                "; it belongs into [board.pins]" if key in BY_NAME else f"; there are {', '.join(known)}"
            )
            draft.fault("board", key, f"no such key{suggestion}")
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in kinds:
        told = "this key is missing" if kind is None else f"{shown(kind)} is no board that is known"
        draft.fault("board", "kind", f"{told}; give one of {', '.join(kinds)}{near(kind, kinds)}")
    return BoardPins(
        facts=kinds.get(kind, ANY_BOARD) if isinstance(kind, str) else ANY_BOARD,
        pins=_pins(draft, table.get("pins")),
        active_low=_active_low(draft, table.get("active_low", [])),
        pulls=_pulls(draft, table.get("pulls", {})),
        numbers=_numbers(draft, table),
    )


def _pins(draft: Draft, table: object) -> dict[str, int]:
    if not isinstance(table, dict):
        draft.fault("board", "pins", "this table is missing; write [board.pins], and below it role = pin")
        return {}
    pins = {}
    for role, pin in table.items():
        if role not in BY_NAME:
            draft.fault("board.pins", role, f"no such role{near(role, BY_NAME) or '; there are ' + ', '.join(BY_NAME)}")
            continue
        try:
            pins[role] = read_value(pin, Annotated[int, Quantity("", at_least=0, at_most=HIGHEST_PIN)])
        except BadValueError as bad:
            draft.fault("board.pins", role, bad.faults[0][1])
    return pins


def _active_low(draft: Draft, given: object) -> tuple[str, ...]:
    if not isinstance(given, list):
        draft.fault("board", "active_low", f"{shown(given)} is not a list; write roles in quotes in square brackets")
        return ()
    for position, role in enumerate(given):
        place = f"active_low[{position}]"
        if not isinstance(role, str) or role not in BY_NAME:
            draft.fault("board", place, f"{shown(role)} is no role{near(role, BY_NAME)}")
        elif BY_NAME[role].motor:
            draft.fault(
                "board",
                place,
                f"{role} would turn the motor while its pin is low, as it is before a program runs; "
                'take a driver that a high level turns on, or write enable_input = "active_low" under [wiring] for an '
                "inverter before it",
            )
        elif BY_NAME[role].way == LEVEL:
            draft.fault("board", place, f"{role} is a voltage and no switch; leave it out")
    return tuple(role for role in given if isinstance(role, str) and role in BY_NAME)


def _pulls(draft: Draft, table: object) -> dict[str, str]:
    if not isinstance(table, dict):
        draft.fault("board", "pulls", f"{shown(table)} is not a table; write [board.pulls], and below it role = pull")
        return {}
    good: dict[str, str] = {}
    for role, pull in table.items():
        if role not in BY_NAME:
            draft.fault("board.pulls", role, f"no such role{near(role, BY_NAME)}")
        elif BY_NAME[role].way != IN:
            what = (
                "a voltage, which a pull would bend" if BY_NAME[role].way == LEVEL else "an output, which has no pull"
            )
            draft.fault("board.pulls", role, f"{printable(role)} is {what}; leave it out")
        elif pull not in PULLS:
            draft.fault("board.pulls", role, f"{shown(pull)} is not one of {', '.join(PULLS)}{near(pull, PULLS)}")
        else:
            good[role] = str(pull)
    return good


def _numbers(draft: Draft, table: dict[str, object]) -> dict[str, int]:
    numbers = {}
    for key in KEYS:
        unit = _UNITS[key.name.rpartition("_")[2]]
        kind: Any = Annotated[int, Quantity(unit, at_least=key.lowest, at_most=key.highest)]
        try:
            numbers[key.name] = read_value(table.get(key.name, key.default), kind)
        except BadValueError as bad:
            draft.fault("board", key.name, bad.faults[0][1])
    return numbers
