"""The simulated machine as plain data: what the host writes, and the firmware's simulated board reads."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from attrs import frozen

from windlink.pins import LIMITS
from windlink.sentences import DRIVES, code_of

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.job import Job
    from reelwright.winding.plan import Plan

# What goes wrong on demand: word -> what happens. The firmware's plant has the same words.
FAULTS = {
    "run_out": "the pay-off spool is empty",
    "snag": "the strand is caught, and freed after the spool has stood for 5 s",
    "sensor_dead": "the counter stands from then on",
    "sensor_weak": "the sensor misses most edges now and then from then on",
    "swapped_channels": "the counter of two channels runs the other way from then on",
    "stop_pressed": "the stop button is held for 3 s",
    "guard_open": "the guard is open for 5 s",
    "runaway": "the motor driver is stuck at full drive, until a person opens the emergency stop after 3 s",
    "swapped_leads": "the motor turns the other way from then on",
    "slip": "the spool slips on its shaft, until that has stood for 5 s",
    "motor_dead": "the motor turns no more, though driven, from then on",
    "lost_steps": "a stepper loses two steps in three, until it has stood for 5 s",
    "wheel_dead": "the measuring wheel's counter stands from then on",
    "sensor_noise": "the sensor's wire picks up pulses that no shaft makes, for 0.5 s",
    "hitch": "the program stands still for 0.2 s",
    "hang": "the program stands still until the watchdog restarts the board",
    "soft_reset": "the interpreter restarts, and the program with it",
    "power_dip": "the supply dips for 0.1 s, and the board restarts",
    "power_cut": "board and drive lose power for 2 s",
    "link_silent": "nothing from the host arrives any more",
    "noise": "a fifth of the bytes on the link are lost, flipped, doubled or delayed, in bursts",
}

# The part through which a winder sees a fault; where it is not fitted the winder must notice otherwise, or cannot.
SEEN_BY = {
    "run_out": "run_out_switch",
    "snag": "tension_switch",
    "stop_pressed": "stop_button",
    "guard_open": "guard_switch",
    "slip": "measuring_wheel",
    "wheel_dead": "measuring_wheel",
}

# The drives that a fault can strike; the others have nothing there that could fail.
STRIKES = {
    "runaway": ("dc",),
    "swapped_leads": ("dc",),
    "motor_dead": ("dc", "stepper"),
    "lost_steps": ("stepper",),
}

PACE_MAX = 0.0

# Where the job does not say: a generic 1 kg spool, plastic strand, a common small stepper with a reduction.
_PAY_OFF_BARREL_MM = 80.0
_PAY_OFF_WIDTH_MM = 60.0
_PAY_OFF_RESERVE = 1.5
_EMPTY_G = 180.0
_DENSITY_G_CM3 = 1.24
_STEPS_PER_TURN = Fraction(3200)


@frozen
class SimulatorOptions:
    """How the simulated winder differs from the job, and how it runs.

    seed: 0 to 2^31 - 3; one seed, one run, to the bit. pace: virtual seconds in a real one, PACE_MAX for as fast as
    it can. faults: pairs of a word of FAULTS and the turns at which it strikes. true_diameter_mm, true_rise:
    what the strand really is, None for what the job says. truth_path: file for JSON lines of what truly happened,
    "" for none. turned_by_hand: a person turns the spool once whenever it has stood for seven seconds. tension_level: a
    sensor in place of both switches of the strand: newtons at the end of its range, then tension_snag_permille and
    tension_slack_permille as in a machine file. transport: "pty" or "socket". interpreter: "" for MicroPython where
    there is its wheel, else CPython.
    """

    seed: int = 1
    pace: float = 1.0
    faults: tuple[tuple[str, float], ...] = ()
    true_diameter_mm: float | None = None
    true_rise: float | None = None
    truth_path: str | Path = ""
    turned_by_hand: bool = False
    tension_level: tuple[float, int, int] | None = None
    transport: str = "pty"
    interpreter: str = ""


def machine_spec(job: Job, plan: Plan, options: SimulatorOptions) -> dict[str, object]:
    """The spec that the simulated board reads. Fractions go as pairs of whole numbers, so nothing is rounded twice."""
    machine = job.machine
    diameter_mm = job.strand.mean_diameter_mm if options.true_diameter_mm is None else options.true_diameter_mm
    empty_g = job.take_up.empty_mass_g
    return {
        "seed": options.seed,
        "pace": options.pace,
        "faults": [list(fault) for fault in options.faults],
        "turned_by_hand": options.turned_by_hand,
        "truth_path": str(options.truth_path),
        "tension_level": _tension_level(options),
        "stops": [*(pulses for pulses, _ in plan.stops), plan.target_pulses],
        "take_up": {
            "barrel_diameter_mm": job.take_up.barrel_diameter_mm,
            "flange_diameter_mm": job.take_up.flange_diameter_mm,
            "empty_mass_g": _EMPTY_G if empty_g is None else empty_g,
        },
        "pay_off": _pay_off(job, plan),
        "strand": {
            "diameter_mm": diameter_mm,
            "density_g_cm3": job.strand.density_g_cm3 or _DENSITY_G_CM3,
            "rise": plan.rise_factor if options.true_rise is None else options.true_rise,
        },
        "machine": {
            "drive": code_of(DRIVES, machine.drive),
            "channels": 2 if machine.sensor == "quadrature" else 1,
            "ratchet": machine.ratchet,
            "turns_per_layer": _pair(plan.layer_turns),
            "first_pass_turns": _pair(machine.first_pass_turns),
            "dwell_turns": _pair(machine.dwell_turns),
            "pulses_per_spool_turn": _pair(plan.pulses_per_spool_turn),
            "steps_per_spool_turn": _pair(machine.steps_per_spool_turn or _STEPS_PER_TURN),
            "stroke_mm": job.stroke_mm,
            "no_load_rpm": machine.full_duty_rpm,
            "spool_rpm": plan.cruise_rpm,
            "back_tension_n": machine.back_tension_n,
            "wheel_mm_per_pulse": machine.measuring_wheel_mm_per_pulse or 0.0,
        },
    }


def _tension_level(options: SimulatorOptions) -> dict[str, float] | None:
    if options.tension_level is None:
        return None
    full_n, *limits = options.tension_level
    return {"full_n": full_n, **{limit.key: number for limit, number in zip(LIMITS, limits, strict=True)}}


def _pay_off(job: Job, plan: Plan) -> dict[str, float]:
    spool = job.pay_off
    barrel = spool.barrel_diameter_mm if spool else None
    width = spool.inside_width_mm if spool else None
    held_m = plan.source.held_m if plan.source else _PAY_OFF_RESERVE * plan.wound_length_m
    return {
        "length_mm": 1000 * held_m,
        "barrel_diameter_mm": barrel or _PAY_OFF_BARREL_MM,
        "inside_width_mm": width or _PAY_OFF_WIDTH_MM,
    }


def _pair(number: Fraction) -> list[int]:
    return [number.numerator, number.denominator]
