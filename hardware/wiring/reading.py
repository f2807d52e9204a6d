"""A machine file as a circuit: what cannot be wired in it, and the wires of its pins one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

from reelwright.errors import FileFaultsError
from reelwright.machines.machine_file import read_board
from reelwright.machines.pin_checks import check_pins, check_wiring
from reelwright.machines.wiring_table import read_wiring
from reelwright.profiles.draft import Draft
from reelwright.profiles.values import printable
from wiring.boards import terminal
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
    JUMPERED,
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

    from reelwright.machines.machine_file import BoardPins


def circuit_of(description: Mapping[str, object], source: str) -> Circuit:
    """The circuit of a machine file's tables. Raises FileFaultsError with all faults at once.

    source: the file's name, for the error. The profile is not looked at, nor what it asks of the pins.
    """
    draft = Draft({})
    board = read_board(draft, description.get("board"))
    wiring = read_wiring(draft, description.get("wiring"))
    if board:
        check_pins(draft, board)
        check_wiring(draft, board, wiring)
        _check_contacts(draft, board)
        if not board.pins and not draft.faults:
            draft.fault("board", "pins", "no pins are given; write ROLE = PIN below [board.pins]")
    if draft.faults or board is None:
        raise FileFaultsError(source, draft.faults)
    kind, pins = board.facts.kind, board.pins
    given = [role for role in WIRES if role in pins]
    drive = next((DRIVE_OF[role] for role in given if role in DRIVE_OF), "")
    rows = _Rows(
        kind,
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
                other, name = JUMPERED.get(role, ("", ""))
                if other in pins:
                    rows.jumpered(other, pins[other], part, name)
        rows.supply(part)
    return Circuit(
        kind=kind,
        title=_title(description),
        rows=tuple(rows.done),
        drive=drive,
        guard_drops_motor=wiring.guard_drops_motor,
    )


def _title(description: Mapping[str, object]) -> str:
    named = description.get("machine")
    return ", ".join(printable(name) for name in named) if isinstance(named, dict) else ""


def _check_contacts(draft: Draft, board: BoardPins) -> None:
    """Note what a contact to ground that opens, as they are drawn, cannot do."""
    told = "stop_button" in board.pins and not DRIVE_OF.keys().isdisjoint(board.pins)
    if told and "stop_button" in board.active_low:
        draft.fault(
            "board",
            "active_low",
            "stop_button is active low, so the emergency stop's contact, which opens, would not tell the winder; leave "
            "it out: take a stop button that opens",
        )
    for role, wire in WIRES.items():
        if role in board.pins and wire.way == "contact" and board.pull(role) == "down":
            draft.fault(
                "board.pulls",
                role,
                "is pulled down, but its contact closes to ground, so that the pin would never change; leave the "
                "pull out",
            )


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

    def jumpered(self, role: str, pin: int, part: str, name: str) -> None:
        """A second wire from a role's pin, to where a jumper of the self-test leads."""
        self.done.append(Row(terminal(self._kind, pin), role, part, name, "plain", ()))

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
