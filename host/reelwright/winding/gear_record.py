"""A checked train, and what a search found, as plain data for JSON.

The unit is in each key; exact numbers are text such as "87/5".
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.winding.gear_check import check_train, pitch_verdict
from reelwright.winding.gear_teeth import least_teeth, least_teeth_in_practice

if TYPE_CHECKING:
    from reelwright.winding.gear_check import Gear, LayPitch, Mesh, TrainCheck
    from reelwright.winding.gear_search import FoundTrain, Search, WantedPitch
    from reelwright.winding.gear_teeth import ToothForm


def check_record(check: TrainCheck) -> dict[str, object]:
    """Everything that the check tells."""
    return {
        "gears": [list(stage) for stage in check.stages],
        "ratio": str(check.ratio),
        "screw_turns_per_pass": str(check.screw_turns_per_pass),
        "turns_per_layer": str(check.turns_per_layer),
        "dwell_turns": str(check.dwell_turns),
        **_form_record(check.form),
        "meshes": [_mesh_record(mesh) for mesh in check.meshes],
        "screw_turns_same_way": check.same_way,
        "coaxial": check.coaxial,
        "lays": [_lay_record(lay) for lay in check.lays],
        "warnings": [finding.to_dict() for finding in check.findings],
    }


def search_record(search: Search, wanted: WantedPitch, form: ToothForm) -> dict[str, object]:
    """What was wanted, and the trains found, best first."""
    diameter = wanted.strand_diameter_mm
    return {
        "wanted_pitch_mm": float(wanted.pitch_mm),
        "stroke_mm": float(wanted.stroke_mm),
        "screw_turns_per_pass": str(wanted.screw_turns_per_pass),
        "dwell_turns": str(wanted.dwell_turns),
        "strand_diameter_mm": None if diameter is None else float(diameter),
        "tolerance_percent": float(100 * wanted.tolerance),
        **_form_record(form),
        "trains_in_reach": search.reach,
        "trains": [_train_record(train, wanted, form) for train in search.trains],
    }


def _train_record(train: FoundTrain, wanted: WantedPitch, form: ToothForm) -> dict[str, object]:
    check = check_train(train.stages, wanted.screw_turns_per_pass, form)
    diameter = wanted.strand_diameter_mm
    return {
        "gears": [list(stage) for stage in train.stages],
        "ratio": str(train.ratio),
        "turns_per_layer": str(check.turns_per_layer),
        "lay_pitch_mm": float(train.pitch_mm),
        "pitch_error_mm": float(train.pitch_error_mm),
        "pitch_error_percent": float(100 * train.pitch_error_mm / wanted.pitch_mm),
        "within_tolerance": abs(train.pitch_error_mm) <= wanted.tolerance * wanted.pitch_mm,
        "verdict": None if diameter is None else pitch_verdict(train.pitch_mm, diameter),
        "total_teeth": train.total_teeth,
        "pitch_diameters_mm": form.transverse_module_mm * train.total_teeth,
        "gear_count": 2 * len(train.stages),
        "meshes": [_mesh_record(mesh) for mesh in check.meshes],
        "screw_turns_same_way": check.same_way,
        "coaxial": check.coaxial,
        "warnings": [finding.to_dict() for finding in check.findings],
    }


def _form_record(form: ToothForm) -> dict[str, object]:
    return {
        "kind": form.kind,
        "module_mm": form.module_mm,
        "pressure_angle_deg": form.pressure_angle_deg,
        "helix_angle_deg": form.helix_angle_deg,
        "least_teeth": least_teeth(form),
        "least_teeth_in_practice": least_teeth_in_practice(form),
        "thrust_share": form.thrust_share,
    }


def _mesh_record(mesh: Mesh) -> dict[str, object]:
    return {
        "driver": _gear_record(mesh.driver),
        "driven": _gear_record(mesh.driven),
        "centre_distance_mm": mesh.centre_distance_mm,
        "contact_ratio": mesh.contact_ratio,
        "common_factor": mesh.meeting.common_factor,
        "hunting": mesh.meeting.hunting,
        "driver_turns_to_repeat": mesh.meeting.driver_turns,
    }


def _gear_record(gear: Gear) -> dict[str, object]:
    return {
        "teeth": gear.teeth,
        "shaft": gear.shaft,
        "hand": gear.hand,
        "pitch_diameter_mm": gear.pitch_diameter_mm,
        "tip_diameter_mm": gear.tip_diameter_mm,
        "undercut": gear.undercut,
        "least_profile_shift": gear.profile_shift,
    }


def _lay_record(lay: LayPitch) -> dict[str, object]:
    return {
        "strand_diameter_mm": float(lay.diameter_mm),
        "stroke_mm": float(lay.stroke_mm),
        "lay_pitch_mm": float(lay.pitch_mm),
        "pitch_error_mm": float(lay.error_mm),
        "verdict": lay.verdict,
        "touching_stroke_mm": float(lay.touching_stroke_mm),
    }
