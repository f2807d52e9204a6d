"""A machine file as a circuit: what cannot be wired in it, and the wires of its pins one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

from reelwright.errors import Fault, FileFaultsError
from reelwright.machines.wiring_table import contradictions, read_wiring
from reelwright.profiles.draft import Draft
from reelwright.profiles.values import near, printable, shown
from wiring.boards import BOARDS, terminal
from wiring.circuit import (
    BUZZER_OHM,
    CONTACT_NF,
    CONTACT_OHM,
    CONTACT_PULL_UP_OHM,
    DIVIDER_OHM,
    DRIVE_OF,
    DRIVER,
    DRIVER_LOGIC,
    ENABLE_PULL_UP_OHM,
    LAMP_OHM,
    LEVEL_DOWN_OHM,
    LEVEL_NF,
    LEVEL_OHM,
    LOGIC_SUPPLY,
    PARTS,
    PULL_DOWN_OHM,
    PULL_UP_OHM,
    TOLD_THROUGH,
    WIRES,
    Circuit,
    Component,
    Row,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


def circuit_of(description: Mapping[str, object], source: str) -> Circuit:
    """The circuit of a machine file's tables. Raises FileFaultsError with all faults at once.

    source: the file's name, for the error. Only what the wiring needs is looked at.
    """
    board = _table(description, "board")
    kind, pins = board.get("kind"), board.get("pins")
    faults: list[Fault] = []
    if kind not in BOARDS:
        faults.append(Fault("board.kind", f"{shown(kind)} is none of {', '.join(BOARDS)}{near(kind, BOARDS)}"))
    if not isinstance(pins, dict) or not pins:
        pins = {}
        faults.append(Fault("board.pins", "no pins are given; write a table [board.pins] with ROLE = PIN"))
    draft = Draft({})
    wiring = read_wiring(draft, description.get("wiring"))
    pulls = _table(board, "pulls")
    if not faults:
        faults += _pin_faults(str(kind), pins, board.get("active_low", []))
        faults += _pull_faults(pins, pulls)
        faults += [Fault(f"{table}.{key}", told) for table, key, told in contradictions(wiring, pins, pulls)]
    faults += draft.faults
    if faults:
        raise FileFaultsError(source, faults)
    given = [role for role in WIRES if role in pins]
    drive = next((DRIVE_OF[role] for role in given if role in DRIVE_OF), "")
    rows = _Rows(
        str(kind),
        five_volt=wiring.sensor_supply_v == 5,
        open_collector=wiring.sensor_output == "open_collector",
        enable_low=wiring.enable_input == "active_low",
        feeds_driver=wiring.driver_logic_supply == "board",
        told_through=TOLD_THROUGH if drive else {},
    )
    for part in dict.fromkeys(WIRES[role].part for role in given):
        for role in given:
            if WIRES[role].part == part:
                rows.add(role, pins[role])
        rows.supply(part)
    return Circuit(
        kind=str(kind),
        title=_title(description),
        rows=tuple(rows.done),
        drive=drive,
        guard_drops_motor=wiring.guard_drops_motor,
    )


def _table(description: Mapping[str, object], name: str) -> dict[str, object]:
    table = description.get(name, {})
    return table if isinstance(table, dict) else {}


def _title(description: Mapping[str, object]) -> str:
    return ", ".join(printable(name) for name in _table(description, "machine"))


def _pin_faults(kind: str, pins: dict[str, object], active_low: object) -> list[Fault]:
    faults: list[Fault] = []
    taken: dict[object, str] = {}
    for role, pin in pins.items():
        path = f"board.pins.{printable(role)}"
        if role not in WIRES:
            faults.append(Fault(path, f"no such role{near(role, WIRES) or '; there are ' + ', '.join(WIRES)}"))
            continue
        try:
            name = terminal(kind, pin) if isinstance(pin, int) and not isinstance(pin, bool) else ""
        except KeyError:
            name = ""
        if not name:
            faults.append(Fault(path, f"{shown(pin)} is no pin of the {BOARDS[kind]}; give the number of one"))
        elif pin in taken:
            faults.append(Fault(path, f"pin {shown(pin)} is taken by {taken[pin]} already; give each role its own"))
        taken.setdefault(pin if isinstance(pin, int) else role, role)
    for role in active_low if isinstance(active_low, list | tuple) else ():
        if role in WIRES and WIRES[role].way == "motor":
            sentence = (
                f"{role} is active low, so a pin that is low in reset would enable the motor; leave it out: take a"
            )
            remedy = 'driver whose input is active high, or write enable_input = "active_low" under [wiring]'
            faults.append(Fault("board.active_low", f"{sentence} {remedy} for an inverter before it"))
        elif role == "stop_button" and role in pins and not DRIVE_OF.keys().isdisjoint(pins):
            sentence = f"{role} is active low, so the emergency stop's contact, which opens, would not tell the winder"
            faults.append(Fault("board.active_low", f"{sentence}; leave it out: take a stop button that opens"))
    return faults


def _pull_faults(pins: dict[str, object], pulls: dict[str, object]) -> list[Fault]:
    dead = "is pulled down, but its contact closes to ground, so that the pin would never change; leave the pull out"
    contacts = [role for role in WIRES if role in pins and WIRES[role].way == "contact"]
    return [Fault(f"board.pulls.{role}", dead) for role in contacts if pulls.get(role) == "down"]


class _Rows:
    """The wires as they come, and the numbers of their small parts."""

    def __init__(
        self,
        kind: str,
        *,
        five_volt: bool,
        open_collector: bool,
        enable_low: bool,
        feeds_driver: bool,
        told_through: Mapping[str, tuple[str, ...]],
    ) -> None:
        self.done: list[Row] = []
        self._kind = kind
        self._five_volt = five_volt
        self._open_collector = open_collector
        self._enable_low = enable_low
        self._feeds_driver = feeds_driver
        self._told_through = told_through
        self._resistors = 0
        self._capacitors = 0

    def add(self, role: str, pin: int) -> None:
        """The wire of a role."""
        wire = WIRES[role]
        far = f"{role}, at {wire.part}"
        inverted = role == "motor_enable" and self._enable_low
        parts: tuple[Component, ...] = ()
        if wire.way == "motor":
            parts = (evolve(self._resistor(PULL_DOWN_OHM, role, "GND"), beyond_plug=True),)
            if inverted:
                supply = "3V3" if self._feeds_driver else LOGIC_SUPPLY
                parts = (*parts, evolve(self._resistor(ENABLE_PULL_UP_OHM, far, supply), beyond_plug=True))
        elif wire.way == "signal" and self._open_collector:
            parts = (self._resistor(PULL_UP_OHM, role, "3V3"),)
        elif wire.way == "signal" and self._five_volt:
            parts = (self._resistor(DIVIDER_OHM[0], far, role), self._resistor(DIVIDER_OHM[1], role, "GND"))
        elif wire.way == "contact":
            parts = (
                self._resistor(CONTACT_OHM, far, role),
                self._capacitor(CONTACT_NF, role),
                self._resistor(CONTACT_PULL_UP_OHM, role, "3V3"),
            )
        elif wire.way == "level":
            parts = (
                self._resistor(LEVEL_OHM, far, role),
                self._resistor(LEVEL_DOWN_OHM, role, "GND"),
                self._capacitor(LEVEL_NF, role),
            )
        elif wire.way in ("lamp", "buzzer"):
            parts = (self._resistor(LAMP_OHM if wire.way == "lamp" else BUZZER_OHM, far, role),)
        self.done.append(Row(terminal(self._kind, pin), role, wire.part, wire.name, wire.way, parts, inverted))

    def supply(self, part: str) -> None:
        """The wires of a part's supply."""
        fed = (("3V3", DRIVER_LOGIC),) if part == DRIVER and self._feeds_driver else ()
        for net, name in (*fed, *PARTS[part][1]):
            real = ("5V" if self._five_volt else "3V3") if net == "sensor" else net
            through = self._told_through.get(part, ()) if real == "GND" else ()
            self.done.append(Row(terminal(self._kind, real), real, part, name, "plain", (), through=through))

    def _resistor(self, ohm: int, one: str, other: str) -> Component:
        self._resistors += 1
        value = f"{ohm / 1000:g} kOhm" if ohm >= 1000 else f"{ohm} Ohm"
        return Component(f"R{self._resistors}", value, (one, other))

    def _capacitor(self, nanofarad: int, net: str) -> Component:
        self._capacitors += 1
        return Component(f"C{self._capacitors}", f"{nanofarad} nF", (net, "GND"))
