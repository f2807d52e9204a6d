"""From a job to its plan."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.winding.advice import drive_findings, fit_findings, sensor_findings
from reelwright.winding.calibration_use import calibration_findings
from reelwright.winding.coil import MOST_LAYERS, Coil, TooManyLayersError
from reelwright.winding.drive import Ramp, line_speed_m_s, torque_n_m
from reelwright.winding.drive_load import layer_rpm, measure_load, spool_tension_n
from reelwright.winding.fit import filling_turns, measure_fit, outer_diameter_mm
from reelwright.winding.job import TARGET_KINDS, ImpossibleJobError
from reelwright.winding.lay import default_rise_u, lay_pitch_mm, rise_factor
from reelwright.winding.mass import strand_length_mm, strand_mass_g
from reelwright.winding.pace import Pace
from reelwright.winding.planned import LayerRow, Plan, StopKind, turns_to_reversal
from reelwright.winding.pulses import PulseScale, layer_boundaries
from reelwright.winding.source import Drawn, SourceCheck, check_source, source_findings
from reelwright.winding.uncertainty import Inputs, estimate_of

if TYPE_CHECKING:
    from reelwright.winding.drive_load import DriveLoad
    from reelwright.winding.findings import Finding
    from reelwright.winding.fit import Fit
    from reelwright.winding.job import Job

__all__ = ["Plan", "make_plan"]

# A length that ends within this many turns of a layer's end ends there: far below a pulse, far above rounding.
_SNAP_TURNS = 1e-9


@frozen
class _Amount:
    """How much is wound: turns exactly, the counted length as asked for or as it follows, and the ends beside it."""

    turns: Fraction
    counted_mm: float
    ends_mm: float

    @property
    def wound_m(self) -> float:
        """All that is wound."""
        return (self.counted_mm + self.ends_mm) / 1000


def make_plan(job: Job) -> Plan:
    """Plan a wind. Pure; about half a millisecond for fifty layers.

    Raises ImpossibleJobError where the values of the job contradict one another. A wind that does not fit
    its spool is still planned: `Plan.blocking` then says why it must not be started.
    """
    coil, rise, rise_u = lay_out(job)
    amount = _amount(job, coil)
    scale = PulseScale(job.machine.pulses_per_spool_turn)
    turns = float(amount.turns)
    full = coil.full_passes(amount.turns)
    layer_pulses = _layer_pulses(coil, scale, amount.turns)
    target = layer_pulses[-1]
    stops = _stops(job, coil, scale, layer_pulses, target)
    inputs = Inputs.of(job, rise, rise_u)
    drawn_mm = inputs.wound_mm(coil, turns)
    length, mass = inputs.counted(drawn_mm, amount.ends_mm)
    fit = measure_fit(job, coil, turns)
    wound_g = _mass_g(job, 1000 * amount.wound_m)
    layers = _layer_rows(job, coil, amount.turns)
    load = measure_load(job, coil, fit, turns, wound_g, layers[-1].spool_rpm)
    pace = _pace(job, scale, layer_pulses, layers)
    source = _source(job, amount.wound_m, Drawn(inputs.strand, drawn_mm))
    return Plan(
        job=job,
        coil=coil,
        scale=scale,
        inputs=inputs,
        rise_factor=rise,
        exact_turns=amount.turns,
        full_layers=full,
        last_layer_turns=float(amount.turns - coil.pass_end(full)),
        length=length,
        mass=mass,
        wound_length_m=amount.wound_m,
        wound_mass_g=wound_g,
        fit=fit,
        outer_diameter=estimate_of(inputs.outer_mm(coil, coil.top_level(turns))),
        fits_length_m=max(coil.length_mm(float(filling_turns(job, coil))) - amount.ends_mm, 0.0) / 1000,
        source=source,
        target_pulses=target,
        layer_pulses=layer_pulses,
        layers=layers,
        stops=stops,
        pace=pace,
        seconds=_seconds(pace, stops, target),
        load=load,
        findings=_findings(job, coil, scale, amount.turns, fit, load, source),
        phase_turns=turns_to_reversal(coil, scale.exact_turns(target)),
    )


def _layer_pulses(coil: Coil, scale: PulseScale, turns: Fraction) -> tuple[int, ...]:
    """Pulses at the end of each layer; the last is the target."""
    full = coil.full_passes(turns)
    boundaries = layer_boundaries(coil.first_pass_turns, coil.turns_per_layer, scale, full)
    return (*boundaries,) if turns == coil.pass_end(full) else (*boundaries, scale.pulses(turns))


def lay_out(job: Job) -> tuple[Coil, float, float]:
    """The coil that the job winds; the rise factor and its standard uncertainty."""
    layer_turns, dwell = job.machine.layer_turns, job.machine.dwell_turns
    diameter = job.strand.mean_diameter_mm
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
    if dwell >= layer_turns:
        raise ImpossibleJobError(
            "machine.dwell_turns",
            f"the guide stands for {float(dwell):g} turns of a layer's {float(layer_turns):g}; give less",
        )
    pitch = lay_pitch_mm(job.stroke_mm, float(layer_turns - dwell))
    given_u = job.lay.rise_u
    try:
        rise = rise_factor(job.lay.rise, pitch, diameter)
        rise_u = default_rise_u(job.lay.rise, pitch, diameter) if given_u is None else given_u
    except ValueError as no_answer:
        raise ImpossibleJobError(
            "lay.rise", f"{no_answer}; raise the turns per layer, shorten the stroke, or give a measured rise factor"
        ) from None
    inner = (job.take_up.barrel_diameter_mm + diameter) / 2
    coil = Coil(inner, rise * diameter, pitch, layer_turns, job.machine.first_pass_turns, dwell)
    return coil, rise, rise_u


def _amount(job: Job, coil: Coil) -> _Amount:
    target = job.target
    ends_mm = 1000 * job.target.ends_m
    if target.length_m is None and target.mass_g is None:
        key, turns = _turns_asked(job, coil)
        if coil.full_passes(turns) >= MOST_LAYERS:
            raise ImpossibleJobError(key, f"this makes more than {MOST_LAYERS} layers, which no spool holds; wind less")
        counted = coil.length_mm(float(turns)) - ends_mm
        if counted <= 0:
            raise ImpossibleJobError(
                key, f"leader and tail of {ends_mm / 1000:g} m take all that is wound; wind more, or shorten them"
            )
        return _Amount(turns, counted, ends_mm)
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
    return _Amount(turns, counted, ends_mm)


def _length_of_mass(job: Job) -> float:
    if job.target.mass_g is None or job.strand.density_g_cm3 is None:
        raise ImpossibleJobError(
            "strand.density_g_cm3", "a target in grams needs the strand's density; give it, or a material that is known"
        )
    return strand_length_mm(
        job.target.mass_g, job.strand.density_g_cm3, job.strand.diameter_mm, job.strand.second_diameter_mm
    )


def _mass_g(job: Job, length_mm: float) -> float | None:
    strand = job.strand
    if strand.density_g_cm3 is None:
        return None
    return strand_mass_g(length_mm, strand.density_g_cm3, strand.diameter_mm, strand.second_diameter_mm)


def _source(job: Job, wound_m: float, drawn: Drawn) -> SourceCheck | None:
    return None if job.pay_off is None else check_source(job.pay_off, job.strand, wound_m, drawn)


def _turns_asked(job: Job, coil: Coil) -> tuple[str, Fraction]:
    """The key of a target that says turns, layers or a full spool, and the turns that it means."""
    target = job.target
    if target.turns is not None:
        return "target.turns", target.turns
    if target.layers is not None:
        return "target.layers", _turns_of_layers(coil, target.layers)
    if target.flange_margin_mm is None:
        raise ImpossibleJobError("target", f"give one of {', '.join(TARGET_KINDS)}")
    turns = filling_turns(job, coil, target.flange_margin_mm)
    if not turns:
        spool = job.take_up
        raise ImpossibleJobError(
            "target.flange_margin_mm",
            f"a flange of {spool.flange_diameter_mm:g} mm on a barrel of {spool.barrel_diameter_mm:g} mm has no room "
            f"for a layer and a margin of {target.flange_margin_mm:g} mm; leave less",
        )
    return "target.flange_margin_mm", turns


def _turns_of_layers(coil: Coil, layers: Fraction) -> Fraction:
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
        # in mid-pass the strand may still lie a level lower; the winder knows the layer alone
        rpm = layer_rpm(job.machine, coil.turn_length_mm(number - 1))
        rows.append(
            LayerRow(
                layer=number,
                turns=layer_turns,
                length_m=cumulative_m - before_m,
                cumulative_length_m=cumulative_m,
                diameter_mm=outer_diameter_mm(coil, job.strand.mean_diameter_mm, level),
                spool_rpm=rpm,
                line_speed_m_s=line_speed_m_s(rpm, turn_length),
                torque_n_m=torque_n_m(tension_n, coil.radius_mm(level)),
            )
        )
        before_m = cumulative_m
    return tuple(rows)


def _findings(
    job: Job, coil: Coil, scale: PulseScale, turns: Fraction, fit: Fit, load: DriveLoad, source: SourceCheck | None
) -> tuple[Finding, ...]:
    return (
        *fit_findings(job, coil, fit),
        *([] if source is None else source_findings(source)),
        *calibration_findings(job, coil.pitch_mm),
        *drive_findings(job, coil, load),
        *sensor_findings(job, coil, scale, turns),
    )


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


def _pace(job: Job, scale: PulseScale, layer_pulses: tuple[int, ...], layers: tuple[LayerRow, ...]) -> Pace:
    """The speeds of the layers and, where a motor turns the spool, its ramp."""
    machine, layer_rpms = job.machine, tuple(row.spool_rpm for row in layers)
    if machine.drive == "hand":
        return Pace(None, scale, layer_pulses, layer_rpms)
    ramp = Ramp.for_sensor(
        layer_rpms[0],
        min(machine.approach_rpm, layer_rpms[-1]),
        machine.acceleration_rpm_s,
        machine.slowing_rpm_s,
        float(scale.per_spool_turn),
    )
    return Pace(ramp, scale, layer_pulses, layer_rpms)


def _seconds(pace: Pace, stops: tuple[tuple[int, StopKind], ...], target: int) -> float:
    ends = [0, *(pulses for pulses, _ in stops), target]
    return sum(pace.seconds(begin, end) for begin, end in pairwise(ends))
