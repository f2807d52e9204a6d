"""What one value of a job forbids another. Each check looks at one rule and speaks only of values well given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.winding.calibration_figures import cholesky, correlation_matrix
from reelwright.winding.calibration_readings import slip_of
from reelwright.winding.gears import turns_per_layer
from reelwright.winding.job import STRAND_SIZES_MM, TARGET_KINDS
from reelwright.winding.nouns import count_of

if TYPE_CHECKING:
    from reelwright.profiles.draft import Draft
    from reelwright.winding.plan import Plan


MOST_OVAL = 1.25  # one diameter over the other. Our own limit: strand flatter than that does not turn as it is drawn


def check_together(draft: Draft) -> None:
    """Note every contradiction between the values of the draft."""
    for check in _CHECKS:
        check(draft)


def check_plan(draft: Draft, plan: Plan) -> None:
    """Note what the plan shows to be beyond it: pauses after the last layer, marks after the target."""
    last = len(plan.layer_pulses)
    for position, layer in enumerate(plan.job.target.pause_at_layers):
        if layer > last:
            has = f"the wind has only {count_of(last, 'layer')}, not {layer}"
            draft.fault("target", f"pause_at_layers[{position}]", f"{has}; wind more, or leave this pause out")
    for position, mark_m in enumerate(plan.job.target.marks_m):
        if mark_m > plan.length_m:
            draft.fault(
                "target",
                f"marks_m[{position}]",
                f"a mark at {mark_m:g} m lies beyond the {plan.length_m:.3f} m to be wound; wind more, or leave it out",
            )


def _spool(draft: Draft) -> None:
    barrel, flange = draft.get("take_up", "barrel_diameter_mm"), draft.get("take_up", "flange_diameter_mm")
    if barrel and flange and barrel >= flange:
        draft.fault(
            "take_up",
            "barrel_diameter_mm",
            _not_smaller("barrel", barrel, "flange", flange),
        )


def _not_smaller(inner: str, inner_mm: float, outer: str, outer_mm: float) -> str:
    if inner_mm == outer_mm:
        return f"{inner} and {outer} are both {inner_mm:g} mm, which leaves no room for strand; correct one"
    return (
        f"{inner} and {outer} look swapped: {inner_mm:g} mm is not smaller than {outer_mm:g} mm; exchange them, or "
        "correct the wrong one"
    )


def _decimal_point(draft: Draft) -> None:
    for key in ("diameter_mm", "second_diameter_mm"):
        diameter = draft.get("strand", key)
        slips = (slip_of(diameter, size_mm, "mm") for size_mm in STRAND_SIZES_MM) if diameter else ()
        slip = next(filter(None, slips), None)
        if slip:
            draft.fault("strand", key, f"{slip.given} is no such strand; did you mean {slip.meant}?")


def _strand(draft: Draft) -> None:
    diameter, u = draft.get("strand", "diameter_mm"), draft.get("strand", "diameter_u_mm")
    if diameter and u and u >= diameter / 4:
        draft.fault(
            "strand",
            "diameter_u_mm",
            f"{u:g} mm is too unsure for strand of {diameter:g} mm; give a standard uncertainty below a quarter of it",
        )
    second = draft.get("strand", "second_diameter_mm")
    if diameter and second and not 1 / MOST_OVAL <= second / diameter <= MOST_OVAL:
        draft.fault(
            "strand",
            "second_diameter_mm",
            f"{second:g} mm across {diameter:g} mm is a ribbon, not a strand; measure both again",
        )


def _calibration(draft: Draft) -> None:
    if "calibration" not in draft.tables:
        return
    keys = ("diameter_rise_r", "diameter_density_r", "rise_density_r")
    with_rise, with_density, of_others = (draft.get("calibration", key) for key in keys)
    if None in (with_rise, with_density, of_others):
        return
    try:
        cholesky(correlation_matrix((with_rise, with_density, of_others)))
    except ValueError:
        draft.fault("calibration", keys[2], "no three figures can be correlated like that; calibrate the strand again")


def _width(draft: Draft) -> None:
    width = draft.get("take_up", "inside_width_mm")
    stroke, diameter = draft.get("machine", "stroke_mm"), draft.get("strand", "diameter_mm")
    if width and stroke and stroke > width:
        draft.fault(
            "machine",
            "stroke_mm",
            f"a stroke of {stroke:g} mm is wider than the spool's inside width of {width:g} mm; shorten the stroke",
        )
    if width and diameter and not stroke and diameter >= width:
        draft.fault(
            "take_up",
            "inside_width_mm",
            f"{width:g} mm leaves no room for strand of {diameter:g} mm; take a wider spool",
        )


def _gears(draft: Draft) -> None:
    direct = draft.given("machine", "turns_per_layer")
    gears, screw = draft.given("machine", "gears"), draft.given("machine", "screw_turns_per_pass")
    if "machine" not in draft.tables or "machine" in draft.unresolved:
        return
    if direct and (gears or screw):
        draft.fault(
            "machine", "turns_per_layer", "given beside gears; keep turns_per_layer, or gears with screw_turns_per_pass"
        )
    elif not direct and not (gears and screw):
        missing = "screw_turns_per_pass" if gears else "gears" if screw else "turns_per_layer"
        draft.fault(
            "machine", missing, "this key is missing; give turns_per_layer, or gears together with screw_turns_per_pass"
        )
    if draft.get("machine", "gears") == ():
        draft.fault("machine", "gears", "the list is empty; give a pair [driver teeth, driven teeth] for each stage")


def _turns_of_a_layer(draft: Draft) -> None:
    direct, gears = draft.get("machine", "turns_per_layer"), draft.get("machine", "gears")
    screw = draft.get("machine", "screw_turns_per_pass")
    layer = direct or (turns_per_layer(gears, screw) if gears and screw else None)
    phase, dwell = draft.get("machine", "phase_turns"), draft.get("machine", "dwell_turns")
    if phase and layer and phase > layer:
        draft.fault(
            "machine",
            "phase_turns",
            f"{float(phase):g} turns to the next reversal, but a layer has only {float(layer):g}; give at most that",
        )
    if dwell and layer and dwell >= layer:
        draft.fault(
            "machine",
            "dwell_turns",
            f"the guide stands for {float(dwell):g} turns, but a layer has only {float(layer):g}, so it would never "
            "travel; give less than that",
        )


def _sensor(draft: Draft) -> None:
    shaft, ratio = draft.get("machine", "sensor_shaft"), draft.get("machine", "shaft_turns_per_spool_turn")
    given = draft.given("machine", "shaft_turns_per_spool_turn")
    if shaft in ("crank", "motor") and not given:
        draft.fault(
            "machine",
            "shaft_turns_per_spool_turn",
            f"this key is missing; with the sensor on the {shaft} say how often that turns for one turn of the spool",
        )
    if shaft == "spool" and given and ratio is not None and ratio != 1:
        draft.fault(
            "machine",
            "shaft_turns_per_spool_turn",
            f"a sensor on the spool turns with it, so {ratio} cannot be; leave it out, or set sensor_shaft to "
            '"crank" or "motor"',
        )


def _speeds(draft: Draft) -> None:
    top, cruise = draft.get("machine", "max_spool_rpm"), draft.get("machine", "spool_rpm")
    creep, free = draft.get("machine", "creep_rpm"), draft.get("machine", "no_load_rpm")
    if top and cruise and cruise > top:
        draft.fault(
            "machine",
            "spool_rpm",
            f"{cruise:g} rpm is more than max_spool_rpm, {top:g} rpm; lower one or raise the other",
        )
    cruise = cruise or top
    if cruise and creep and creep > cruise:
        draft.fault("machine", "creep_rpm", f"{creep:g} rpm is faster than the {cruise:g} rpm to wind at; lower it")
    if cruise and free and free < cruise:
        draft.fault(
            "machine",
            "no_load_rpm",
            f"a drive that reaches {free:g} rpm unloaded cannot wind at {cruise:g} rpm; lower spool_rpm",
        )


def _line_speed(draft: Draft) -> None:
    if draft.given("machine", "line_speed_m_s") and draft.given("machine", "spool_rpm"):
        draft.fault(
            "machine", "line_speed_m_s", "given beside spool_rpm; keep the line speed, or the speed of the spool"
        )


def _guides(draft: Draft) -> None:
    keys = ("guide_wrap_deg", "guide_friction")
    for key, other in (keys, keys[::-1]):
        if draft.get("machine", key) and not draft.given("machine", other):
            draft.fault("machine", other, f"this key is missing; {key} says nothing without it")


def _motor(draft: Draft) -> None:
    for key in ("motor_torque_n_m", "motor_turns_per_spool_turn"):
        if draft.given("machine", key) and draft.get("machine", "drive") == "hand":
            draft.fault("machine", key, 'a crank has no motor; leave this out, or set drive to "dc" or "stepper"')
    motor, shaft = (
        draft.get("machine", "motor_turns_per_spool_turn"),
        draft.get("machine", "shaft_turns_per_spool_turn"),
    )
    if motor and shaft and draft.get("machine", "sensor_shaft") == "motor" and motor != shaft:
        draft.fault(
            "machine",
            "motor_turns_per_spool_turn",
            f"{motor} turns of the motor, but its sensor says {shaft} (shaft_turns_per_spool_turn); correct one, or "
            "leave this out",
        )


def _measuring_wheel(draft: Draft) -> None:
    fitted = draft.get("machine", "fitted")
    if fitted and "measuring_wheel" in fitted and not draft.given("machine", "measuring_wheel_mm_per_pulse"):
        draft.fault(
            "machine",
            "measuring_wheel_mm_per_pulse",
            "this key is missing; a measuring wheel needs it: its circumference over its pulses a turn",
        )


def _stepper(draft: Draft) -> None:
    if draft.get("machine", "drive") == "stepper" and not draft.given("machine", "steps_per_spool_turn"):
        draft.fault("machine", "steps_per_spool_turn", "this key is missing; a stepper needs it")


def _target(draft: Draft) -> None:
    if "target" not in draft.tables:
        return
    named = [kind for kind in TARGET_KINDS if draft.given("target", kind)]
    if not named:
        draft.fault("target", "", f"nothing says how much to wind; give one of {', '.join(TARGET_KINDS)}")
    if len(named) > 1:
        draft.fault("target", named[1], f"given beside {named[0]}; keep exactly one of {', '.join(TARGET_KINDS)}")
    if draft.given("target", "mass_g") and "strand" in draft.tables and not draft.given("strand", "density_g_cm3"):
        draft.fault(
            "strand",
            "density_g_cm3",
            "this key is missing; a target in grams needs the density, or a material that is known",
        )


def _pay_off_mass(draft: Draft) -> None:
    gross, empty = draft.get("pay_off", "gross_mass_g"), draft.get("pay_off", "empty_mass_g")
    if gross and empty and empty >= gross:
        draft.fault(
            "pay_off",
            "empty_mass_g",
            f"an empty spool of {empty:g} g is not lighter than the full one of {gross:g} g; exchange or correct them",
        )
    has_strand = "strand" in draft.tables and "strand" not in draft.unresolved
    if gross and has_strand and not draft.given("strand", "density_g_cm3"):
        draft.fault(
            "strand", "density_g_cm3", "this key is missing; the pay-off spool's mass says nothing without the density"
        )


def _pay_off_size(draft: Draft) -> None:
    table = draft.tables.get("pay_off")
    if table is None:
        return
    if not {"gross_mass_g", "wound_diameter_mm", "held_m"} & set(table):
        draft.fault(
            "pay_off",
            "",
            "give gross_mass_g, or wound_diameter_mm with barrel_diameter_mm and inside_width_mm, "
            "or held_m with held_u_m",
        )
    if "wound_diameter_mm" in table and "gross_mass_g" not in table:
        for key in ("barrel_diameter_mm", "inside_width_mm"):
            if key not in table:
                draft.fault("pay_off", key, "this key is missing; a wound diameter needs it")
    if "held_m" in table and "held_u_m" not in table:
        draft.fault("pay_off", "held_u_m", "this key is missing; say how sure the length is, as a standard uncertainty")
    rivals = [key for key in ("gross_mass_g", "wound_diameter_mm") if key in table]
    if "held_m" in table and rivals:
        draft.fault("pay_off", "held_m", f"given beside {rivals[0]}; keep the one that you are surer of")
    wound, barrel = draft.get("pay_off", "wound_diameter_mm"), draft.get("pay_off", "barrel_diameter_mm")
    if wound and barrel and barrel >= wound:
        draft.fault(
            "pay_off",
            "barrel_diameter_mm",
            _not_smaller("barrel", barrel, "wound diameter", wound),
        )


_CHECKS = (
    _spool,
    _decimal_point,
    _strand,
    _calibration,
    _width,
    _gears,
    _turns_of_a_layer,
    _sensor,
    _speeds,
    _line_speed,
    _guides,
    _motor,
    _measuring_wheel,
    _stepper,
    _target,
    _pay_off_mass,
    _pay_off_size,
)
