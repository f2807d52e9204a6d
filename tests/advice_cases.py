"""Jobs of which each finding of the plan is found, and how a test asks for it."""

from __future__ import annotations

from fractions import Fraction
from math import pi, radians, tan
from typing import TYPE_CHECKING, Any

from reelwright.winding.findings import LIMITS
from winding_jobs import plan_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.winding.findings import Finding, Mend

Changes = dict[str, dict[str, Any]]

N, D = 34.8, 1.75
TOUCHING_MM = N * D
WHOLE = {"layers": 3}
HAIR = 1e-6


def lying(stroke_mm: float, gap_mm: float, **more: Any) -> Changes:
    """Layers of this stroke on a spool that leaves this gap at each end."""
    return {
        "machine": {"stroke_mm": stroke_mm} | more,
        "take_up": {"inside_width_mm": stroke_mm + D + 2 * gap_mm},
        "target": WHOLE,
    }


def with_flange_left(margin_mm: float) -> Changes:
    outer_mm = plan_of(target=WHOLE).fit.outer_diameter_mm
    return {"take_up": {"flange_diameter_mm": outer_mm + 2 * margin_mm}, "target": WHOLE}


def swinging(angle_deg: float, barrel: str = "smooth") -> Changes:
    stroke_mm = 63 - D
    return {"machine": {"guide_distance_mm": stroke_mm / 2 / tan(radians(angle_deg))}, "take_up": {"barrel": barrel}}


def bent(strain: float) -> Changes:
    return {"take_up": {"barrel_diameter_mm": D / strain - D}}


def drawn(line_speed_times: float) -> Changes:
    """Line speed as a multiple of what layer 1 runs at with the spool's greatest speed, 120 rpm."""
    first_turn_m = plan_of().coil.turn_length_mm(0) / 1000
    return {"machine": {"line_speed_m_s": line_speed_times * 120 / 60 * first_turn_m}}


def starting_torque_n_m() -> float:
    """2 N at the outer layer, and 60 rpm/s of the inertia of strand and empty spool, as rings."""
    plan = plan_of(take_up={"empty_mass_g": 150})
    outer_m = plan.fit.outer_diameter_mm / 2000
    assert plan.mass_g is not None
    strand = plan.mass_g / 1000 * (outer_m**2 + 0.04**2) / 2
    spool = 0.150 * (0.1**2 + 0.04**2) / 2
    return 2 * (outer_m - D / 2000) + (strand + spool) * 60 * 2 * pi / 60


def driven(motor_torque_n_m: float | None = None, gear_torque_n_m: float | None = None) -> Changes:
    machine = {
        "motor_torque_n_m": motor_torque_n_m,
        "gear_torque_n_m": gear_torque_n_m,
        "motor_turns_per_spool_turn": 20,
        "drive_efficiency": 0.8,
    }
    return {"machine": machine, "take_up": {"empty_mass_g": 150}}


def standing(turns: float) -> Changes:
    return {"machine": {"dwell_turns": str(Fraction(turns).limit_denominator(10**8))}}


def counted(pulses_in_a_layer: float) -> Changes:
    turns = Fraction(pulses_in_a_layer).limit_denominator(10**7)
    return {"machine": {"turns_per_layer": str(turns), "stroke_mm": D, "pulses_per_turn": 1}, "target": WHOLE}


# code -> a job whose value stands at `times` its limit; for a limit of 0, at `times` - 1 millimetres from it
CASES: dict[str, Callable[[float], Changes]] = {
    "over_flange": lambda times: with_flange_left(times - 1),
    "near_flange": lambda times: with_flange_left(times * D),
    "pitch_tight": lambda times: lying(times * TOUCHING_MM, 0),
    "pitch_wide": lambda times: lying(times * 1.25 * TOUCHING_MM, 0),
    "overfull_layers": lambda times: {"lay": {"rise": pi / 4 * D * N / (63 - D) / times}, "target": WHOLE},
    "against_flange": lambda times: lying(TOUCHING_MM, times - 1),
    "end_gap": lambda times: lying(TOUCHING_MM, times * D),
    "flange_heap": lambda times: standing(times * 2),
    "tight_bend": lambda times: bent(times * 0.03),
    "fleet_angle": lambda times: swinging(times * 1.5),
    "fleet_angle_grooved": lambda times: swinging(times * 2, "grooved"),
    "fleet_angle_small": lambda times: swinging(times * 0.5),
    "line_speed_beyond": drawn,
    "motor_torque": lambda times: driven(motor_torque_n_m=starting_torque_n_m() / 20 / 0.8 / times),
    "gear_torque": lambda times: driven(gear_torque_n_m=starting_torque_n_m() / times),
    "too_few_pulses": counted,
}
NESTED: Changes = {"lay": {"rise": "nested"}, "target": WHOLE}
FAR_BEYOND = {code: case(1.3 if LIMITS[code].bound == "at most" else 0.7) for code, case in CASES.items()}
FAR_BEYOND["crossed_layers"] = NESTED
FROM: dict[str, Changes] = {
    "source_short": {"pay_off": {"gross_mass_g": 240, "empty_mass_g": 150}},
    "source_doubtful": {"pay_off": {"gross_mass_g": 270, "empty_mass_g": 150}},
    "tare_unknown": {"pay_off": {"gross_mass_g": 1000}},
    "calibration_pitch": {"lay": {"rise": 0.95}, "calibration": {"figures": ["rise"], "pitch_mm": 1.5}},
}
FAR_BEYOND |= FROM


def finding_of(code: str, changes: Changes) -> Finding | None:
    """The finding of this code in the plan of a sound job with changes."""
    return next((finding for finding in plan_of(**changes).findings if finding.code == code), None)


def ways_out(code: str, changes: Changes) -> list[dict[str, object]]:
    """The mends of that finding, as key and value."""
    finding = finding_of(code, changes)
    assert finding is not None
    return [{change.key: change.value for change in mend} for mend in finding.mends]


def mended(changes: Changes, mend: Mend) -> Changes:
    """The changes with those of a mend laid over."""
    tables = {name: dict(table) for name, table in changes.items()}
    for change in mend:
        table, _, key = change.key.partition(".")
        tables.setdefault(table, {})[key] = change.value
    return tables
