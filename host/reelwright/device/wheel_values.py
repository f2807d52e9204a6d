"""What a measuring wheel should see, as the whole numbers that the winder compares it with."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from windlink.fields import SMALL
from windlink.job import MOST_LAYERS

if TYPE_CHECKING:
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

_PARTS = 16  # of a wheel pulse
_LEAST_WHEEL_PULSES = 40  # in a window, so that one of them more or less is no deviation
_LEAST_SHAFT_PULSES = 10  # likewise of the shaft
_LEAST_WINDOW_S = 0.1  # at the greatest speed: ten steps of the control
_SLACK_MM = 5.0  # of strand that hangs loose or stretches as a motion begins
_SLACK_PULSES = 2  # of the wheel, and one of the shaft: at either end both stand between two of their own

_NO_WHEEL = {"slip_window_pulses": 0, "wheel_first": 0, "wheel_rise": 0, "slip_permille": 0, "slip_slack": 0}


def wheel_values(job: Job, plan: Plan) -> dict[str, int]:
    """The values of the job that are about the wheel, all 0 where none is fitted.

    A window is a turn of the spool, or what gives enough pulses of the wheel. From the second pass on the strand lies
    on a mean of k - 2 + a/N layers in pass k, when the first pass had a of the N turns of a layer; what the passes
    differ from that mean is allowed besides.
    """
    machine = job.machine
    if "measuring_wheel" not in machine.fitted or machine.measuring_wheel_mm_per_pulse is None:
        return dict(_NO_WHEEL)
    mm_per_pulse = machine.measuring_wheel_mm_per_pulse
    coil = plan.coil
    inner_mm = math.hypot(2 * math.pi * coil.radius_mm(0), coil.pitch_mm)
    rise_mm = 2 * math.pi * coil.rise_mm
    missing_share = 1 - float(machine.first_pass_turns / machine.layer_turns)
    pulses_per_turn = float(plan.pulses_per_spool_turn)
    turns = max(
        1.0,
        _LEAST_WHEEL_PULSES * mm_per_pulse / inner_mm,
        _LEAST_WINDOW_S * machine.max_spool_rpm / 60,
        _LEAST_SHAFT_PULSES / pulses_per_turn,
    )
    # the winder multiplies window and strand, in parts of a pulse, and has whole numbers below 2^30
    deepest_parts = (inner_mm + MOST_LAYERS * rise_mm) / mm_per_pulse * _PARTS
    most_turns = math.sqrt(0.9 * SMALL / (2 * deepest_parts * pulses_per_turn))
    window = math.floor(min(turns, most_turns) * pulses_per_turn)
    slack_mm = _SLACK_MM + rise_mm * window / pulses_per_turn + inner_mm / pulses_per_turn
    parts_per_mm = window / pulses_per_turn / mm_per_pulse * _PARTS
    return {
        "slip_window_pulses": window,
        "wheel_first": round((inner_mm - missing_share * rise_mm) * parts_per_mm),
        "wheel_rise": round(rise_mm * parts_per_mm),
        "slip_permille": round(10 * machine.slip_percent),
        "slip_slack": _SLACK_PULSES + math.ceil(slack_mm / mm_per_pulse),
    }
