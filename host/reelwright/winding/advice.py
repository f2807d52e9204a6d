"""What to mend in a wind: each figure of its fit and its drive against its limit, with what to change to what."""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Literal

from reelwright.winding.drive import line_speed_m_s, spool_rpm
from reelwright.winding.findings import LIMITS, Change, Finding, Mend, judge
from reelwright.winding.fit import (
    CROSSINGS_A_TURN,
    filling_turns,
    guide_distance_mm,
    layer_share,
    laying_turns,
    strand_for_pitch_mm,
    touching_turns,
)
from reelwright.winding.lay import CROSSING, NESTED, STACKED, has_rise
from reelwright.winding.mass import strand_mass_g
from reelwright.winding.nouns import count_of
from reelwright.winding.rounding import rounded_down, rounded_up

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.winding.coil import Coil
    from reelwright.winding.drive_load import DriveLoad
    from reelwright.winding.fit import Fit
    from reelwright.winding.job import Job
    from reelwright.winding.pulses import PulseScale

_TURNS = "machine.turns_per_layer"
_STROKE = "machine.stroke_mm"
_WIDTH = "take_up.inside_width_mm"
_FLANGE = "take_up.flange_diameter_mm"

# Beyond what sensors for such shafts have; own judgement, to offer none that nobody sells.
MOST_PULSES_PER_TURN = 10_000


def fit_findings(job: Job, coil: Coil, fit: Fit) -> list[Finding]:
    """Everything about the fit that a person should know."""
    return [
        *_flange(job, coil, fit),
        *_pitch(job, coil),
        *_rise(job, coil),
        *_ends(job, coil, fit),
        *_dwell(job),
        *_bend(job, fit),
        *_fleet_angle(job, fit),
        *_hand_of_layers(job, fit),
    ]


def drive_findings(job: Job, coil: Coil, load: DriveLoad) -> list[Finding]:
    """Everything about speed and torque that a person should know."""
    return [*_line_speed(job, coil), *_motor(job, load), *_gearing(job, load)]


def sensor_findings(job: Job, coil: Coil, scale: PulseScale, turns: Fraction) -> list[Finding]:
    """Whether the sensor tells layers and target apart. turns: to the target."""

    def mends(_limit: float) -> Iterator[Mend]:
        shaft_turns = min(coil.turns_per_layer, turns) * job.machine.shaft_turns_per_spool_turn
        needed = ceil(1 / shaft_turns)
        if needed <= MOST_PULSES_PER_TURN:
            yield (Change("machine.pulses_per_turn", "at least", needed),)
        pulse_turns = 1 / scale.per_spool_turn
        if pulse_turns <= coil.turns_per_layer and job.target.turns is not None:
            yield (Change("target.turns", "at least", rounded_up(float(pulse_turns))),)
        elif pulse_turns <= coil.turns_per_layer and job.target.length_m is not None:
            yield (Change("target.length_m", "at least", rounded_up(coil.length_mm(float(pulse_turns)) / 1000)),)

    # a first pass of less than a pulse is no fault: it is what a wind that stopped just before a reversal leaves
    pulses = min(coil.turns_per_layer * scale.per_spool_turn, Fraction(scale.pulses(turns)))
    return judge("too_few_pulses", float(pulses), job, mends)


def _flange(job: Job, coil: Coil, fit: Fit) -> list[Finding]:
    margin, outer = fit.flange_margin_mm, fit.outer_diameter_mm

    def mends(limit: float) -> Iterator[Mend]:
        yield from _less(job, coil, limit)
        yield (Change(_FLANGE, "at least", rounded_up(outer + 2 * limit)),)

    def held(_limit: float) -> str:
        turns = filling_turns(job, coil)
        layers = coil.full_passes(turns)
        part = "" if turns == coil.pass_end(layers) else " and a part of one"
        held_m = rounded_down(coil.length_mm(float(turns)) / 1000, 2)
        return f"This spool holds {count_of(layers, 'whole layer')}{part}, {held_m:.2f} m."

    return judge("over_flange", margin, job, mends, held) or judge("near_flange", margin, job, mends)


def _less(job: Job, coil: Coil, margin_mm: float) -> Iterator[Mend]:
    """The most that leaves this much of the flange, as the target says how much; nothing where no layer does."""
    target, strand, turns = job.target, job.strand, filling_turns(job, coil, margin_mm)
    counted_mm = coil.length_mm(float(turns)) - 1000 * target.ends_m
    if target.flange_margin_mm is not None:
        yield (Change("target.flange_margin_mm", "at least", rounded_up(margin_mm)),)
    elif counted_mm <= 0:
        return
    elif target.length_m is not None:
        yield (Change("target.length_m", "at most", rounded_down(counted_mm / 1000)),)
    elif target.mass_g is not None and strand.density_g_cm3 is not None:
        grams = strand_mass_g(counted_mm, strand.density_g_cm3, strand.diameter_mm, strand.second_diameter_mm)
        yield (Change("target.mass_g", "at most", rounded_down(grams)),)
    elif target.turns is not None:
        yield (Change("target.turns", "at most", rounded_down(float(turns))),)
    else:
        yield (Change("target.layers", "at most", coil.full_passes(turns)),)


def _pitch(job: Job, coil: Coil) -> list[Finding]:
    stroke, width, diameter = job.stroke_mm, job.take_up.inside_width_mm, job.strand.mean_diameter_mm
    touching_stroke = rounded_up(diameter * laying_turns(job, coil))

    def on_a_spool_to_match() -> Mend:
        spool = Change(_WIDTH, "", rounded_up(touching_stroke + diameter))
        return (spool,) if job.machine.stroke_mm is None else (spool, Change(_STROKE, "", touching_stroke))

    def tight(_limit: float) -> Iterator[Mend]:
        yield (Change(_TURNS, "at most", rounded_down(touching_turns(job, coil, stroke))),)
        if touching_stroke <= width - diameter:
            yield (Change(_STROKE, "at least", touching_stroke),)
        else:
            yield on_a_spool_to_match()
        yield _strand(job, "at most", rounded_down(strand_for_pitch_mm(job, coil, 1.0)))

    def wide(limit: float) -> Iterator[Mend]:
        yield (Change(_TURNS, "", rounded_down(touching_turns(job, coil, stroke))),)
        if (width - touching_stroke - diameter) / 2 <= diameter:
            yield (Change(_STROKE, "", touching_stroke),)
        else:
            yield on_a_spool_to_match()
        yield _strand(job, "at least", rounded_up(strand_for_pitch_mm(job, coil, limit / diameter)))

    return judge("pitch_tight", coil.pitch_mm, job, tight) or judge("pitch_wide", coil.pitch_mm, job, wide)


def _rise(job: Job, coil: Coil) -> list[Finding]:
    # the models never pack strand so tight: it is a factor of the job's own
    model = CROSSING if has_rise(CROSSING, coil.pitch_mm, job.strand.mean_diameter_mm) else STACKED
    share_percent = 100 * layer_share(job, coil)
    return judge("overfull_layers", share_percent, job, lambda _: ((Change("lay.rise", "", model),),))


def _strand(job: Job, bound: Literal["at least", "at most"], diameter_mm: float) -> Mend:
    """Other strand, of this mean diameter."""
    keys = ("strand.diameter_mm", "strand.second_diameter_mm")
    return tuple(Change(key, bound, diameter_mm) for key in keys[: 1 if job.strand.second_diameter_mm is None else 2])


def _ends(job: Job, coil: Coil, fit: Fit) -> list[Finding]:
    width, diameter = job.take_up.inside_width_mm, job.strand.mean_diameter_mm

    def from_end_to_end() -> Iterator[Mend]:
        if width <= diameter:
            return
        stroke = rounded_down(width - diameter)
        pitch = stroke / laying_turns(job, coil)
        mend = (Change(_STROKE, "", stroke),)
        if diameter <= pitch <= LIMITS["pitch_wide"].factor * diameter:
            yield mend
        else:
            # the gears that lay the old stroke well lay this one badly
            yield (*mend, Change(_TURNS, "", rounded_down(touching_turns(job, coil, stroke))))

    def pressed(_limit: float) -> Iterator[Mend]:
        yield from from_end_to_end()
        yield (Change(_WIDTH, "at least", rounded_up(job.stroke_mm + diameter)),)

    def free(limit: float) -> Iterator[Mend]:
        yield from from_end_to_end()
        yield (Change(_WIDTH, "at most", rounded_down(job.stroke_mm + diameter + 2 * limit)),)

    return judge("against_flange", fit.end_gap_mm, job, pressed) or judge("end_gap", fit.end_gap_mm, job, free)


def _dwell(job: Job) -> list[Finding]:
    return judge(
        "flange_heap",
        float(job.machine.dwell_turns),
        job,
        lambda limit: ((Change("machine.dwell_turns", "at most", limit),),),
    )


def _bend(job: Job, fit: Fit) -> list[Finding]:
    def mends(limit_percent: float) -> Iterator[Mend]:
        barrel = rounded_up(job.strand.mean_diameter_mm * (100 / limit_percent - 1))
        wider = (Change("take_up.barrel_diameter_mm", "at least", barrel),)
        flange = barrel + fit.outer_diameter_mm - job.take_up.barrel_diameter_mm
        yield (
            wider
            if flange <= job.take_up.flange_diameter_mm
            else (
                *wider,
                Change(_FLANGE, "at least", rounded_up(flange)),
            )
        )

    return judge("tight_bend", 100 * fit.bending_strain, job, mends)


def _fleet_angle(job: Job, fit: Fit) -> list[Finding]:
    if fit.fleet_angle_deg is None:
        return []
    key = "machine.guide_distance_mm"

    def further(limit: float) -> Iterator[Mend]:
        yield (Change(key, "at least", rounded_up(guide_distance_mm(job.stroke_mm, limit))),)

    def nearer(limit: float) -> Iterator[Mend]:
        yield (Change(key, "at most", rounded_down(guide_distance_mm(job.stroke_mm, limit))),)

    widest = "fleet_angle_grooved" if job.take_up.barrel == "grooved" else "fleet_angle"
    return [
        *judge(widest, fit.fleet_angle_deg, job, further),
        *judge("fleet_angle_small", fit.fleet_angle_deg, job, nearer),
    ]


def _hand_of_layers(job: Job, fit: Fit) -> list[Finding]:
    if job.lay.rise != NESTED or not fit.crossings:
        return []
    return judge("crossed_layers", CROSSINGS_A_TURN, job, lambda _: ((Change("lay.rise", "", CROSSING),),))


def _line_speed(job: Job, coil: Coil) -> list[Finding]:
    machine = job.machine
    if machine.line_speed_m_s is None:
        return []
    turn_length = coil.turn_length_mm(0)
    wanted_rpm = spool_rpm(machine.line_speed_m_s, turn_length)

    def mends(limit: float) -> Iterator[Mend]:
        yield (Change("machine.line_speed_m_s", "at most", rounded_down(line_speed_m_s(limit, turn_length))),)
        if machine.no_load_rpm is None or machine.no_load_rpm >= wanted_rpm:
            yield (Change("machine.max_spool_rpm", "at least", rounded_up(wanted_rpm)),)

    return judge("line_speed_beyond", wanted_rpm, job, mends)


def _motor(job: Job, load: DriveLoad) -> list[Finding]:
    machine = job.machine

    def mends(limit: float) -> Iterator[Mend]:
        ratio = rounded_up(load.starting_torque_n_m / (limit * machine.drive_efficiency))
        keys = []
        if machine.sensor_shaft != "motor" or machine.motor_turns_per_spool_turn is not None:
            keys.append("machine.motor_turns_per_spool_turn")
        if machine.sensor_shaft == "motor":
            keys.append("machine.shaft_turns_per_spool_turn")
        yield tuple(Change(key, "at least", ratio) for key in keys)
        yield from _less_torque(job, load, limit * float(machine.motor_ratio) * machine.drive_efficiency)

    return judge("motor_torque", load.motor_torque_n_m, job, mends)


def _gearing(job: Job, load: DriveLoad) -> list[Finding]:
    return judge("gear_torque", load.starting_torque_n_m, job, lambda limit: _less_torque(job, load, limit))


def _less_torque(job: Job, load: DriveLoad, allowed_n_m: float) -> Iterator[Mend]:
    """Ways to ask for no more than this at the spool: a gentler start, or a looser brake."""
    holding = load.spool_torque_n_m
    gaining = load.starting_torque_n_m - holding

    def gentler(gaining_n_m: float) -> Change:
        rpm_s = gaining_n_m / gaining * job.machine.acceleration_rpm_s
        return Change("machine.acceleration_rpm_s", "at most", rounded_down(rpm_s))

    def looser(holding_n_m: float) -> Change:
        tension_n = holding_n_m / holding * job.machine.back_tension_n
        return Change("machine.back_tension_n", "at most", rounded_down(tension_n))

    # what is asked for is more than allowed, so that a part which is all of it leaves nothing to the other
    if allowed_n_m > holding:
        yield (gentler(allowed_n_m - holding),)
    if allowed_n_m > gaining:
        yield (looser(allowed_n_m - gaining),)
    if holding >= allowed_n_m and gaining >= allowed_n_m:
        # either alone is too much: half the allowance for each
        yield gentler(allowed_n_m / 2), looser(allowed_n_m / 2)
