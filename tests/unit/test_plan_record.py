"""The plan as scripts and the ledger read it: each figure under its key, and nothing for what is not known."""

from __future__ import annotations

from typing import Any

import pytest

from winding_jobs import plan_of

KEYS = {
    "take_up", "strand", "material", "strand_diameter_mm",
    "turns", "full_layers", "last_layer_turns", "turns_per_layer", "first_pass_turns", "lay_pitch_mm", "rise_factor",
    "calibration", "dwell_turns", "length_m", "length_u_m", "length_u_shares", "length_u_reason", "mass_g", "mass_u_g",
    "mass_u_shares", "mass_u_reason", "wound_length_m", "wound_mass_g", "outer_diameter_mm", "outer_diameter_u_mm",
    "flange_margin_mm", "fits_length_m", "fits_more_m", "end_gap_mm", "fill_share", "bending_strain",
    "fleet_angle_deg", "largest_strand_mm", "crossings", "pulses_per_spool_turn", "pulses_per_layer", "target_pulses",
    "layer_pulses", "layers", "stops", "phase_turns_after", "seconds", "torque_n_m", "drive", "source", "warnings",
    "blocking",
}  # fmt: skip
SOURCE_KEYS = {
    "method", "held_m", "held_u_m", "needed_m", "verdict", "left_m", "left_u_m", "left_g", "left_u_g",
    "left_diameter_mm", "left_diameter_u_mm",
}  # fmt: skip


def record_of(**changes: dict[str, Any]) -> dict[str, Any]:
    return plan_of(**changes).to_dict()


def test_what_the_plan_is_of_stands_in_it() -> None:
    record = record_of(strand={"name": "reed", "material": "PETG", "second_diameter_mm": 1.73}, take_up={"name": "tub"})
    assert [record[key] for key in ("take_up", "strand", "material")] == ["tub", "reed", "PETG"]
    assert record["strand_diameter_mm"] == pytest.approx(1.74)


def test_scripts_read_a_plan_under_these_keys() -> None:
    record = record_of(pay_off={"held_m": 60, "held_u_m": 0.5}, target={"marks_m": [5]})
    assert set(record) == KEYS
    assert set(record["source"]) == SOURCE_KEYS
    ((stop),) = record["stops"]
    assert set(stop) == {"pulses", "kind"}
    (warning, *_) = record_of(take_up={"flange_diameter_mm": 84})["warnings"]
    assert set(warning) == {"code", "message", "value", "limit", "unit", "source", "remedy", "mends"}


def test_a_mass_is_told_with_what_makes_it_unsure() -> None:
    plan = plan_of()
    record = plan.to_dict()
    assert plan.mass is not None
    assert record["mass_u_shares"] == dict(plan.mass.shares)
    assert "of the mass's uncertainty" in str(record["mass_u_reason"])
    assert "of the length's uncertainty" in str(record["length_u_reason"])


def test_of_strand_whose_density_nobody_knows_no_mass_is_told() -> None:
    record = record_of(strand={"density_g_cm3": None})
    assert {key: record[key] for key in record if key.startswith(("mass", "wound_mass"))} == dict.fromkeys(
        ("mass_g", "mass_u_g", "mass_u_shares", "mass_u_reason", "wound_mass_g")
    )


def test_the_torque_told_is_that_of_the_last_layer_under_the_strands_tension() -> None:
    plan = plan_of()
    assert plan.to_dict()["torque_n_m"] == pytest.approx(2 * plan.coil.radius_mm(len(plan.layers) - 1) / 1000)


@pytest.mark.parametrize(
    ("held_m", "held_u_m", "verdict"), [(60, 0.5, "enough"), (40.5, 0.5, "doubtful"), (20, 0.5, "short")]
)
def test_a_spool_of_known_length_is_judged_by_its_interval(held_m: float, held_u_m: float, verdict: str) -> None:
    source = record_of(pay_off={"held_m": held_m, "held_u_m": held_u_m})["source"]
    assert (source["method"], source["verdict"]) == ("known length", verdict)
    assert source["left_m"] == pytest.approx(max(held_m - 40, 0), abs=1e-6)


def test_what_is_left_is_told_in_grams_and_by_its_diameter_only_where_that_is_known() -> None:
    pay_off = {"held_m": 60, "held_u_m": 0.5}
    plain = record_of(pay_off=pay_off, strand={"density_g_cm3": None})["source"]
    assert (plain["left_g"], plain["left_u_g"], plain["left_diameter_mm"], plain["left_diameter_u_mm"]) == (None,) * 4
    known = record_of(pay_off=pay_off | {"barrel_diameter_mm": 80, "inside_width_mm": 63})["source"]
    # 1.24 g/cm3 of 1.75 mm round strand
    assert known["left_g"] == pytest.approx(20 * 1.24 * 3.141592653589793 / 4 * 1.75**2, rel=1e-6)
    assert 80 < known["left_diameter_mm"] < 90
    assert known["left_u_g"] > 0
    assert known["left_diameter_u_mm"] > 0
