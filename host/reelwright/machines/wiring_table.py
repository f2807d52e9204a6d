"""The [wiring] table of a machine file: what the drawing needs to know of sensors and driver, and no board does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from attrs import frozen

from reelwright.profiles.values import shown
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from reelwright.profiles.draft import Draft

NAME = "wiring"
SUPPLIES_V = (3.3, 5.0)


@frozen
class Wiring:
    """How the sensors are made, and the driver's enable. sensor_supply_v: one of SUPPLIES_V.

    guard_drops_motor: whether the guard switch has a second contact, in the contactor's chain.
    """

    sensor_supply_v: Annotated[float, Quantity("V")] = 3.3
    sensor_output: Literal["push_pull", "open_collector"] = "push_pull"
    enable_input: Literal["active_high", "active_low"] = "active_high"
    guard_drops_motor: bool = False


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
