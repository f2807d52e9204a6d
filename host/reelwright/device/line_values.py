"""A wanted line speed, as the whole numbers by which the winder lowers its cruise from layer to layer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.winding.drive import line_speed_m_s
from windlink.job import LONGEST_TURN

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan

_ONE_SPEED = {"line_turn": 0, "line_first": 0, "line_rise": 0}


def line_values(plan: Plan) -> dict[str, int]:
    """The values of the job that are about the line speed, all 0 where every layer has one speed of the spool.

    The unit of the turns' lengths is such that the longest turn at which the first layer's cruise may be wound
    is LONGEST_TURN, so that a layer's speed is right to a few parts in ten thousand. A turn's length grows evenly but
    for its pitch, whose share is less.
    """
    wanted_m_s = plan.job.machine.line_speed_m_s
    if wanted_m_s is None or plan.layers[-1].spool_rpm == plan.cruise_rpm:
        return dict(_ONE_SPEED)
    coil, last = plan.coil, len(plan.layers) - 1
    unit_mm = wanted_m_s / line_speed_m_s(plan.cruise_rpm, 1.0) / LONGEST_TURN
    first_mm, last_mm = coil.turn_length_mm(0), coil.turn_length_mm(last)
    return {
        "line_turn": LONGEST_TURN,
        "line_first": round(first_mm / unit_mm),
        "line_rise": round((last_mm - first_mm) / last / unit_mm),
    }
