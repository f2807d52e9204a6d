"""A plan as plain data, for JSON and for the ledger."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import asdict

from reelwright.winding.calibration_use import calibration_record

if TYPE_CHECKING:
    from reelwright.winding.planned import Plan
    from reelwright.winding.source import Left, SourceCheck


def plan_record(plan: Plan) -> dict[str, object]:
    """Every figure of the plan under its name and unit; fractions as text such as "174/5"."""
    strand = plan.job.strand
    return {
        "take_up": plan.job.take_up.name,
        "strand": strand.name,
        "material": strand.material,
        "strand_diameter_mm": strand.mean_diameter_mm,
        "turns": plan.turns,
        "full_layers": plan.full_layers,
        "last_layer_turns": plan.last_layer_turns,
        "turns_per_layer": str(plan.layer_turns),
        "first_pass_turns": str(plan.first_pass_turns),
        "lay_pitch_mm": plan.coil.pitch_mm,
        "rise_factor": plan.rise_factor,
        "calibration": calibration_record(plan.job.calibration),
        "dwell_turns": str(plan.job.machine.dwell_turns),
        "length_m": plan.length_m,
        "length_u_m": plan.length_u_m,
        "length_u_shares": dict(plan.length.shares),
        "length_u_reason": plan.length_reason,
        "mass_g": plan.mass_g,
        "mass_u_g": plan.mass_u_g,
        "mass_u_shares": None if plan.mass is None else dict(plan.mass.shares),
        "mass_u_reason": plan.mass_reason,
        "wound_length_m": plan.wound_length_m,
        "wound_mass_g": plan.wound_mass_g,
        "outer_diameter_mm": plan.fit.outer_diameter_mm,
        "outer_diameter_u_mm": plan.outer_diameter.u,
        "flange_margin_mm": plan.fit.flange_margin_mm,
        "fits_length_m": plan.fits_length_m,
        "fits_more_m": plan.fits_more_m,
        "end_gap_mm": plan.fit.end_gap_mm,
        "fill_share": plan.fit.fill_share,
        "bending_strain": plan.fit.bending_strain,
        "fleet_angle_deg": plan.fit.fleet_angle_deg,
        "largest_strand_mm": plan.fit.largest_strand_mm,
        "crossings": plan.fit.crossings,
        "pulses_per_spool_turn": str(plan.pulses_per_spool_turn),
        "pulses_per_layer": str(plan.pulses_per_layer),
        "target_pulses": plan.target_pulses,
        "layer_pulses": list(plan.layer_pulses),
        "layers": [row._asdict() for row in plan.layers],
        "stops": [{"pulses": pulses, "kind": kind} for pulses, kind in plan.stops],
        "phase_turns_after": str(plan.phase_turns),
        "seconds": plan.seconds,
        "torque_n_m": plan.torque_n_m,
        "drive": asdict(plan.load),
        "source": None if plan.source is None else _source_record(plan.source),
        "warnings": [finding.to_dict() for finding in plan.findings],
        "blocking": list(plan.blocking),
    }


def _source_record(source: SourceCheck) -> dict[str, object]:
    return {
        "method": source.method,
        "held_m": source.held_m,
        "held_u_m": source.held_u_m,
        "needed_m": source.needed_m,
        "verdict": source.verdict,
        **_left_record(source.left),
    }


def _left_record(left: Left) -> dict[str, float | None]:
    """What stays on the pay-off spool: left_m and left_u_m, left_g, left_diameter_mm and theirs."""
    found: dict[str, float | None] = {}
    for name, unit, estimate in (
        ("left", "m", left.length_m),
        ("left", "g", left.mass_g),
        ("left_diameter", "mm", left.diameter_mm),
    ):
        found[f"{name}_{unit}"] = None if estimate is None else estimate.value
        found[f"{name}_u_{unit}"] = None if estimate is None else estimate.u
    return found
