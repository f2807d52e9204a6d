"""From a job to its plan."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.winding.advice import drive_findings, fit_findings, sensor_findings
from reelwright.winding.coil import MOST_LAYERS, Coil, TooManyLayersError
from reelwright.winding.drive import Ramp, line_speed_m_s, torque_n_m
from reelwright.winding.drive_load import layer_rpm, measure_load, spool_tension_n
from reelwright.winding.fit import measure_fit, outer_diameter_mm
from reelwright.winding.job import ImpossibleJobError
from reelwright.winding.lay import lay_pitch_mm, rise_factor
from reelwright.winding.mass import strand_length_mm, strand_mass_g
from reelwright.winding.planned import LayerRow, Plan, StopKind, turns_to_reversal
from reelwright.winding.pulses import PulseScale, layer_boundaries
from reelwright.winding.source import check_source, source_findings
from reelwright.winding.uncertainty import Spread, length_and_mass

if TYPE_CHECKING:
    from reelwright.winding.job import Job

__all__ = ["Plan", "make_plan"]

# A length that ends within this many turns of a layer's end ends there: far below a pulse, far above rounding.
_SNAP_TURNS = 1e-9


@frozen
class _Amount:
    """How much is wound: turns exactly, and the counted length as asked for or as it follows."""

    turns: Fraction
    counted_mm: float


def make_plan(job: Job) -> Plan:
    """Plan a wind. Pure; about half a millisecond for fifty layers.

    Raises ImpossibleJobError where the values of the job contradict one another. A wind that does not fit
    its spool is still planned: `Plan.blocking` then says why it must not be started.
    """
    rise, coil = _lay_out(job)
    amount = _amount(job, coil)
    scale = PulseScale(job.machine.pulses_per_spool_turn)
    turns = float(amount.turns)
    full = coil.full_passes(amount.turns)
    last = amount.turns - coil.pass_end(full)
    target = scale.pulses(amount.turns)
    boundaries = layer_boundaries(coil.first_pass_turns, coil.turns_per_layer, scale, full)
    layer_pulses = tuple(boundaries) if not last else (*boundaries, target)
    stops = _stops(job, coil, scale, layer_pulses, target)
    top = coil.top_level(turns)
    cruise_rpm = layer_rpm(job.machine, coil.turn_length_mm(max(top, 0)))
    ramp = _ramp(job, scale, cruise_rpm)
    spread = _spread(job, rise)
    ends_mm = 1000 * (job.target.leader_m + job.target.tail_m)
    length, mass = length_and_mass(coil, turns, ends_mm, float(scale.per_spool_turn), spread)
    wound_m = (amount.counted_mm + ends_mm) / 1000
    density, diameter = job.strand.density_g_cm3, job.strand.diameter_mm
    fit = measure_fit(job, coil, turns)
    source = None if job.pay_off is None else check_source(job.pay_off, job.strand, wound_m)
    wound_g = None if density is None else strand_mass_g(1000 * wound_m, density, diameter)
    load = measure_load(job, coil, fit, top, wound_g, cruise_rpm)
    findings = [
        *fit_findings(job, coil, fit),
        *([] if source is None else source_findings(source)),
        *drive_findings(job, coil, load),
        *sensor_findings(job, coil, scale, amount.turns),
    ]
    return Plan(
        job=job,
        coil=coil,
        scale=scale,
        spread=spread,
        rise_factor=rise,
        exact_turns=amount.turns,
        full_layers=full,
        last_layer_turns=float(last),
        length=length,
        mass=mass,
        wound_length_m=wound_m,
        wound_mass_g=wound_g,
        fit=fit,
        source=source,
        target_pulses=target,
        layer_pulses=layer_pulses,
        layers=_layer_rows(job, coil, amount.turns),
        stops=stops,
        cruise_rpm=cruise_rpm,
        ramp=ramp,
        seconds=_seconds(cruise_rpm, scale, ramp, stops, target),
        load=load,
        findings=tuple(findings),
        phase_turns=turns_to_reversal(coil, scale.exact_turns(target)),
    )


def _lay_out(job: Job) -> tuple[float, Coil]:
    layer_turns = job.machine.layer_turns
    diameter = job.strand.diameter_mm
    if job.stroke_mm <= 0:
        raise ImpossibleJobError(
            "take_up.inside_width_mm",
            f"{job.take_up.inside_width_mm:g} mm leaves no room for strand of {diameter:g} mm; take a wider spool",
        )
    if job.machine.first_pass_turns > layer_turns:
        raise ImpossibleJobError(
            "machine.phase_turns",
            f"{float(job.machine.first_pass_turns):g} turns to the next reversal, but a whole layer has only "
            f"{float(layer_turns):g}; give at most that",
        )
    pitch = lay_pitch_mm(job.stroke_mm, float(layer_turns))
    try:
        rise = rise_factor(job.lay.rise, pitch, diameter)
    except ValueError as no_answer:
        raise ImpossibleJobError(
            "lay.rise", f"{no_answer}; raise the turns per layer, shorten the stroke, or give a measured rise factor"
        ) from None
    inner = (job.take_up.barrel_diameter_mm + diameter) / 2
    return rise, Coil(inner, rise * diameter, pitch, layer_turns, job.machine.first_pass_turns)


def _amount(job: Job, coil: Coil) -> _Amount:
    target = job.target
    ends_mm = 1000 * (target.leader_m + target.tail_m)
    if target.turns is not None or target.layers is not None:
        turns = _turns_of_layers(coil, target.layers) if target.turns is None else target.turns
        key = "target.layers" if target.turns is None else "target.turns"
        if coil.full_passes(turns) >= MOST_LAYERS:
            raise ImpossibleJobError(key, f"this makes more than {MOST_LAYERS} layers, which no spool holds; wind less")
        counted = coil.length_mm(float(turns)) - ends_mm
        if counted <= 0:
            raise ImpossibleJobError(
                key, f"leader and tail of {ends_mm / 1000:g} m take all that is wound; wind more, or shorten them"
            )
        return _Amount(turns, counted)
    if target.length_m is not None:
        key, counted = "target.length_m", 1000 * target.length_m
    else:
        key, counted = "target.mass_g", _length_of_mass(job)
    try:
        turns = _snapped(coil, coil.turns(counted + ends_mm))
    except TooManyLayersError:
        raise ImpossibleJobError(
            key, f"{counted / 1000:g} m make more than {MOST_LAYERS} layers, which no spool holds; wind less"
        ) from None
    return _Amount(turns, counted)


def _length_of_mass(job: Job) -> float:
    if job.target.mass_g is None or job.strand.density_g_cm3 is None:
        raise ImpossibleJobError(
            "strand.density_g_cm3", "a target in grams needs the strand's density; give it, or a material that is known"
        )
    return strand_length_mm(job.target.mass_g, job.strand.density_g_cm3, job.strand.diameter_mm)


def _turns_of_layers(coil: Coil, layers: Fraction | None) -> Fraction:
    if layers is None:
        raise ImpossibleJobError("target", "give one of length_m, mass_g, layers, turns")
    whole = int(layers)
    begun = coil.pass_end(whole)
    return begun + (layers - whole) * (coil.pass_end(whole + 1) - begun)


def _snapped(coil: Coil, turns: float) -> Fraction:
    exact = Fraction(turns)
    near = coil.full_passes(exact)
    for boundary in (coil.pass_end(near), coil.pass_end(near + 1)):
        if boundary and abs(exact - boundary) < _SNAP_TURNS:
            return boundary
    return exact


def _layer_rows(job: Job, coil: Coil, turns: Fraction) -> tuple[LayerRow, ...]:
    tension_n = spool_tension_n(job.machine)
    full = coil.full_passes(turns)
    each, last = float(coil.turns_per_layer), turns - coil.pass_end(full)
    laid = [(float(coil.first_pass_turns) if level == 0 else each, level) for level in range(full)]
    if last:
        laid.append((float(last), coil.top_level(float(turns))))
    rows = []
    before_m = 0.0
    for number, (layer_turns, level) in enumerate(laid, start=1):
        end = coil.end_turns(number) if number <= full else float(turns)
        cumulative_m = coil.length_mm(end) / 1000
        turn_length = coil.turn_length_mm(level)
        rpm = layer_rpm(job.machine, turn_length)
        rows.append(
            LayerRow(
                layer=number,
                turns=layer_turns,
                length_m=cumulative_m - before_m,
                cumulative_length_m=cumulative_m,
                diameter_mm=outer_diameter_mm(coil, job.strand.diameter_mm, level),
                spool_rpm=rpm,
                line_speed_m_s=line_speed_m_s(rpm, turn_length),
                torque_n_m=torque_n_m(tension_n, coil.radius_mm(level)),
            )
        )
        before_m = cumulative_m
    return tuple(rows)


def _stops(
    job: Job, coil: Coil, scale: PulseScale, layer_pulses: tuple[int, ...], target: int
) -> tuple[tuple[int, StopKind], ...]:
    found: dict[int, StopKind] = {}
    for mark_m in job.target.marks_m:
        turns = coil.turns(1000 * (job.target.leader_m + mark_m))
        found[scale.pulses(Fraction(turns))] = "mark"
    wanted = range(1, len(layer_pulses)) if job.target.pause_every_layer else job.target.pause_at_layers
    for layer in wanted:
        if layer <= len(layer_pulses):
            # a mark at a layer's end is that layer's stop: one pause serves both
            found[layer_pulses[layer - 1]] = "layer"
    return tuple((pulses, found[pulses]) for pulses in sorted(found) if 0 < pulses < target)


def _ramp(job: Job, scale: PulseScale, cruise_rpm: float) -> Ramp | None:
    machine = job.machine
    if machine.drive == "hand":
        return None
    return Ramp.for_sensor(
        cruise_rpm,
        machine.approach_rpm,
        machine.acceleration_rpm_s,
        machine.slowing_rpm_s,
        float(scale.per_spool_turn),
    )


def _seconds(
    cruise_rpm: float, scale: PulseScale, ramp: Ramp | None, stops: tuple[tuple[int, StopKind], ...], target: int
) -> float:
    if ramp is None:
        return scale.turns(target) * 60 / cruise_rpm
    ends = [0, *(pulses for pulses, _ in stops), target]
    return sum(ramp.seconds(scale.turns(end - begin)) for begin, end in pairwise(ends))


def _spread(job: Job, rise: float) -> Spread:
    return Spread(
        diameter_mm=job.strand.diameter_mm,
        diameter_u_mm=job.strand.diameter_u_mm,
        barrel_u_mm=job.take_up.barrel_diameter_u_mm,
        rise=rise,
        rise_u=job.lay.known_rise_u,
        ends=(job.target.leader_m > 0) + (job.target.tail_m > 0),
        density_g_cm3=job.strand.density_g_cm3,
        density_u_g_cm3=job.strand.known_density_u_g_cm3,
    )
