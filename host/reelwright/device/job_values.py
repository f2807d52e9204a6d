"""A job and its plan as the list of whole numbers that the winder takes."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

from reelwright.device.line_values import line_values
from reelwright.device.wheel_values import wheel_values
from reelwright.errors import UsageError
from windlink import codes
from windlink.job import HIGHEST_RATE, JOB_FIELDS, JOB_FORMAT, POSITION, first_fault
from windlink.meanings import JOB
from windlink.sentences import DRIVES, LINK_LOSSES, STOP_KINDS, SWITCHES, code_of

if TYPE_CHECKING:
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

# Above the rated speed by what the speed loop may overshoot: in share, and in pulses, since a sensor that gives few of
# them shows the loop its speed late. Tried on random simulated winds from 1 to 600 pulses a turn.
OVERSPEED_MARGIN = 1.15
OVERSPEED_PULSES_S = 0.7
BACKWARDS_TURNS = Fraction(1, 4)
OVERRUN_TURNS = 1
LAG_TURNS = Fraction(1, 16)  # of a stepper's shaft behind its steps: far more than gears and belts give
LEAST_LAG_PULSES = 3
HAND_LEAD_S = 3.0
HAND_STANDSTILL_S = 1.0
STANDSTILL_PULSES = 1.5  # periods at winding speed: a spool that a stuck driver turns is not taken for one that stands


def job_values(job: Job, plan: Plan) -> list[int]:
    """The values that `accept` checks. Raises UsageError when the machine is beyond what the link can say."""
    machine = job.machine
    hand = machine.drive == "hand"
    pulses_per_turn = plan.pulses_per_spool_turn
    layer = plan.pulses_per_layer
    first = plan.first_pass_turns * pulses_per_turn
    denominator = math.lcm(layer.denominator, first.denominator)
    cruise = _rate(plan.cruise_rpm, pulses_per_turn)
    if cruise > HIGHEST_RATE:
        wish = "spool_rpm" if machine.line_speed_m_s is None else "line_speed_m_s"
        raise UsageError(
            f"machine.{wish}: {plan.cruise_rpm:g} rpm gives {cruise / 100:.0f} pulses a second,"
            f" the winder counts up to {HIGHEST_RATE // 100}.",
            "Wind slower, or fit a sensor with fewer pulses a turn.",
        )
    ramp = plan.ramp
    # a crank has no ramp: its creep is its cruise
    creep = cruise if ramp is None else min(cruise, _rate(ramp.creep_rpm, pulses_per_turn))
    creep_pulses = 1 if ramp is None else round(ramp.creep_turns * pulses_per_turn)
    steps = Fraction(machine.steps_per_spool_turn or 0) / pulses_per_turn
    named = {
        "job_format": JOB_FORMAT,
        "drive": code_of(DRIVES, machine.drive),
        "channels": 2 if machine.sensor == "quadrature" else 1,
        "layer_numerator": int(layer * denominator),
        "layer_denominator": denominator,
        "first_numerator": int(first * denominator),
        "target_pulses": plan.target_pulses,
        "cruise_rate": cruise,
        "creep_rate": creep,
        "full_rate": max(cruise, _rate(machine.full_duty_rpm, pulses_per_turn)),
        "highest_rate": _overspeed_rate(machine.max_spool_rpm, pulses_per_turn),
        "acceleration": _rate(machine.acceleration_rpm_s, pulses_per_turn),
        "deceleration": _rate(machine.slowing_rpm_s, pulses_per_turn),
        "creep_pulses": creep_pulses,
        "standstill_ms": _standstill_ms(machine.standstill_s, _rate(plan.slowest_rpm, pulses_per_turn), hand),
        "no_pulses_ms": round(1000 * machine.no_pulses_s),
        "backwards_pulses": max(2, round(pulses_per_turn * BACKWARDS_TURNS)),
        # a crank does not need the host to stop, so its loss changes nothing
        "link_loss": codes.WIND_ON if hand else code_of(LINK_LOSSES, machine.on_link_loss),
        "link_loss_ms": round(1000 * machine.link_loss_s),
        "fitted": sum(code_of(SWITCHES, word) for word in machine.fitted if word != "measuring_wheel"),
        "lead_ms": round(1000 * HAND_LEAD_S) if hand else 0,
        "step_numerator": steps.numerator,
        "step_denominator": steps.denominator,
        "overrun_pulses": max(3, round(pulses_per_turn * OVERRUN_TURNS)),
        "lag_pulses": max(LEAST_LAG_PULSES, round(pulses_per_turn * LAG_TURNS)) if machine.drive == "stepper" else 0,
        **wheel_values(job, plan),
        **line_values(plan),
    }
    values = [named[field.name] for field in JOB_FIELDS]
    for pulses, kind in plan.stops:
        values += [pulses, code_of(STOP_KINDS, kind)]
    _check(values)
    return values


def _rate(rpm: float, pulses_per_turn: Fraction) -> int:
    """Hundredths of a pulse per second, at least 1."""
    return max(1, round(rpm / 60 * float(pulses_per_turn) * 100))


def _standstill_ms(standstill_s: float, cruise: int, hand: bool) -> int:
    """Silence that proves rest: as asked, and longer where pulses are rare."""
    least_s = HAND_STANDSTILL_S if hand else STANDSTILL_PULSES * 100 / cruise
    return min(JOB_FIELDS[POSITION["standstill_ms"]].high, round(1000 * max(least_s, standstill_s)))


def _overspeed_rate(max_spool_rpm: float, pulses_per_turn: Fraction) -> int:
    return round(_rate(max_spool_rpm, pulses_per_turn) * OVERSPEED_MARGIN + 100 * OVERSPEED_PULSES_S)


def _check(values: list[int]) -> None:
    fault = first_fault(values)
    if fault < 0:
        return
    if fault < len(JOB_FIELDS):
        field = JOB_FIELDS[fault]
        raise UsageError(
            f"The winder cannot take this job: its {field.name} would be {values[fault]}"
            f" ({JOB[field.name]}; {field.low} to {field.high}).",
            "Simplify the gear fraction, the speeds or the pulses a turn.",
        )
    raise UsageError(
        f"The winder cannot take this job: {(len(values) - len(POSITION)) // 2} stops are too many, or two of them"
        " fall on one pulse.",
        "Ask for fewer stops, farther apart.",
    )
