"""The [wiring] table of a machine file: what the drawing needs to know of sensors and driver, and no board does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from attrs import frozen

from reelwright.profiles.values import shown
from reelwright.winding.quantities import Quantity
from windlink.pins import DEFAULT_PULL

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from reelwright.profiles.draft import Draft

NAME = "wiring"
SUPPLIES_V = (3.3, 5.0)
COUNTED = ("sensor_a", "sensor_b", "wheel_a", "wheel_b")  # roles of what counts, by a sensor made as the table says
_OF_MOTOR = ("motor_pwm", "step")


@frozen
class Wiring:
    """How the sensors are made, and the driver's enable and logic. sensor_supply_v: one of SUPPLIES_V.

    driver_logic_supply: whether the board feeds the driver's logic, at 3.3 V, or the driver does by itself.
    guard_drops_motor: whether the guard switch has a second contact, in the contactor's chain.
    """

    sensor_supply_v: Annotated[float, Quantity("V")] = 3.3
    sensor_output: Literal["push_pull", "open_collector"] = "push_pull"
    enable_input: Literal["active_high", "active_low"] = "active_high"
    driver_logic_supply: Literal["own", "board"] = "own"
    guard_drops_motor: bool = False

    @property
    def divides(self) -> bool:
        """Whether a sensor's signal needs a divider before a pin that bears 3.3 V."""
        return self.sensor_supply_v == 5 and self.sensor_output == "push_pull"


def read_wiring(draft: Draft, table: object) -> Wiring:
    """The table, or its defaults where it is not there or not good. Notes every fault of it in the draft."""
    if table is None:
        return Wiring()
    if not isinstance(table, dict):
        draft.fault(NAME, "", f"{shown(table)} is not a table; write [wiring], and its keys below it")
        return Wiring()
    good = draft.read_table(NAME, Wiring, table)
    if good.get("sensor_supply_v", SUPPLIES_V[0]) not in SUPPLIES_V:
        volts = shown(table["sensor_supply_v"])
        draft.fault(NAME, "sensor_supply_v", f"{volts} V is neither 3.3 nor 5; give one of them")
        del good["sensor_supply_v"]
    return Wiring(**good)


def contradictions(
    wiring: Wiring, pins: Collection[str], pulls: Mapping[str, object]
) -> Iterator[tuple[str, str, str]]:
    """Table, key and sentence of each place where pins and pulls contradict the wiring. pins, pulls: by their roles."""
    for role in [role for role in COUNTED if role in pins]:
        pull = pulls.get(role, DEFAULT_PULL)
        if wiring.sensor_output == "open_collector" and pull == "down":
            told = f"{role} is pulled down, and wiring.sensor_output says that its sensor can only draw it down too"
            yield "board.pulls", role, f"{told}; leave the pull out"
        if wiring.divides and pull != "none":
            yield "board.pulls", role, 'comes through a divider, which a pull of the board would bend; write "none"'
    no_motor = "but no pin of a motor is given under [board.pins]; leave it out"
    has_motor = any(role in pins for role in _OF_MOTOR)
    if wiring.enable_input == "active_low" and "motor_enable" not in pins:
        lacking = (
            "but no pin drives the inverter before that enable; give motor_enable = PIN under [board.pins], or leave "
            "it out where the driver has none"
        )
        yield NAME, "enable_input", f'is "active_low", {lacking if has_motor else no_motor}'
    if wiring.driver_logic_supply == "board" and not has_motor:
        yield NAME, "driver_logic_supply", f'is "board", {no_motor}'
    if wiring.guard_drops_motor and not has_motor:
        yield NAME, "guard_drops_motor", f"is true, {no_motor}"
    if wiring.guard_drops_motor and "guard" not in pins:
        yield (
            NAME,
            "guard_drops_motor",
            "is true, but the winder is not told of the guard; give guard = PIN under [board.pins], too",
        )
