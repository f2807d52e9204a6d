"""A plan for a person: the layers, the fit, how sure it is, and what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from reelwright.cautions import CAUTION
from reelwright.views.page import plain_page, terminal_page
from reelwright.views.quantities import at_most, between, duration, turns_text, with_uncertainty
from reelwright.views.tables import Column, FigureTable
from reelwright.winding.drive import line_speed_m_s
from reelwright.winding.nouns import count_of
from reelwright.winding.rounding import rounded_down, rounded_up
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from reelwright.winding.job import Calibration
    from reelwright.winding.plan import Plan
    from reelwright.winding.source import SourceCheck

LEVEL = f"(k = {COVERAGE}, about 95 %)"


def terminal_text(plan: Plan) -> str:
    """The plan as the terminal shows it."""
    return terminal_page(lambda console: _print_plan(plan, console))


def plan_text(plan: Plan) -> str:
    """The plan as plain text, for a file."""
    return plain_page(lambda console: _print_plan(plan, console))


def _print_plan(plan: Plan, console: Console) -> None:
    console.print(Text(_heading(plan), style="bold"))
    console.print(_layer_table(plan))
    console.print()
    figures = Table.grid(padding=(0, 2))
    for name, figure in _figures(plan):
        figures.add_row(Text(name), Text(figure))
    console.print(figures)
    console.print()
    for sentence in _reasons(plan):
        console.print(Text(sentence))
    _print_advice(plan, console)
    if plan.ramp is not None:
        console.print(Text.assemble(("Caution: ", "bold"), CAUTION))


def _print_advice(plan: Plan, console: Console) -> None:
    """Each finding: what, its number, its limit and who set it; and below, what to change to what."""
    if plan.findings:
        console.print(Text("\nAdvice", style="bold"))
    for finding in plan.findings:
        word, style = ("Forbidden", "bold red") if finding.blocks else ("Warning", "yellow")
        console.print(Text.assemble((f"{word} ({finding.code}): ", style), finding.fact))
        if finding.remedy:
            console.print(Padding(Text(f"Mend: {finding.remedy}"), (0, 0, 0, 2), expand=False))
    if plan.findings:
        console.print()


def _heading(plan: Plan) -> str:
    strand, spool = plan.job.strand, plan.job.take_up
    what = ", ".join(dict.fromkeys(filter(None, (strand.name, strand.material)))) or "strand"
    second = strand.second_diameter_mm
    size = f"{strand.diameter_mm:g}" if second is None else f"{strand.diameter_mm:g} x {second:g}"
    return f"{plan.length_m:.3f} m of {what}, {size} mm, onto {spool.name or 'the take-up spool'}"


def _layer_table(plan: Plan) -> FigureTable:
    by_layer, powered = plan.job.machine.line_speed_m_s is not None, plan.ramp is not None
    stops = {pulses for pulses, kind in plan.stops if kind == "layer"}
    table = FigureTable(
        Column("Layer"),
        Column("Turns"),
        Column("Length", "m", spare=1),
        Column("Total", "m"),
        Column("Diameter", "mm", spare=2),
        Column("Pulse at\nits end", spare=4),
        *[Column("Pause")] * bool(stops),
        *[Column("Speed", "rpm", spare=3)] * by_layer,
        *[Column("Torque", "N m", spare=5)] * powered,
    )
    for row, pulses in zip(plan.layers, plan.layer_pulses, strict=True):
        table.add_row(
            str(row.layer),
            turns_text(row.turns),
            f"{row.length_m:.3f}",
            f"{row.cumulative_length_m:.3f}",
            f"{row.diameter_mm:.2f}",
            str(pulses),
            *["yes" if pulses in stops else ""] * bool(stops),
            *[f"{row.spool_rpm:.1f}"] * by_layer,
            *[f"{row.torque_n_m:.3f}"] * powered,
        )
    return table


def _figures(plan: Plan) -> Iterator[tuple[str, str]]:
    fit, spool, target = plan.fit, plan.job.take_up, plan.job.target
    exact = f"{plan.layer_turns} = " if plan.layer_turns.denominator > 1 else ""
    yield "Turns", f"{turns_text(plan.counted_turns)}, in layers of {exact}{float(plan.layer_turns):g}"
    if plan.first_pass_turns != plan.layer_turns:
        yield "First layer", f"only {turns_text(float(plan.first_pass_turns))} turns, from where the guide stands now"
    yield "Target", f"{plan.target_pulses} pulses, {float(plan.pulses_per_spool_turn):g} in a turn of the spool"
    yield "Length", f"{with_uncertainty(plan.length_m, plan.length_u_m, 'm')} {LEVEL}, counted strand"
    if plan.mass is not None:
        yield "Mass", f"{with_uncertainty(plan.mass_g, plan.mass_u_g, 'g')} {LEVEL}, counted strand"
    if plan.wound_length_m > plan.length_m:
        mass = "" if plan.wound_mass_g is None else f", {plan.wound_mass_g:.1f} g"
        ends = "leader and tail" if target.leader_m and target.tail_m else "leader" if target.leader_m else "tail"
        yield f"With {ends}", f"{plan.wound_length_m:.3f} m{mass}, as lengths in the table above"
    if plan.mass is None:
        yield "Mass", "not known: give strand.density_g_cm3, or a material that has one"
    outer = with_uncertainty(fit.outer_diameter_mm, plan.outer_diameter.u, "mm")
    yield "Outer diameter", f"{outer} on a flange of {spool.flange_diameter_mm:g} mm"
    filled = f"strand fills {fit.fill_share:.0%} of the space between the flanges"
    yield "Flange left", f"{fit.flange_margin_mm:.1f} mm; {filled}"
    yield "Fits", _fits(plan)
    dwell = float(plan.job.machine.dwell_turns)
    yield (
        "Lay",
        f"pitch {plan.coil.pitch_mm:.3f} mm, rise factor {plan.rise_factor:.4f}, end gap {fit.end_gap_mm:z.2f} mm"
        + (f", {dwell:g} turns of a layer with the guide at a flange" if dwell else ""),
    )
    yield (
        "Largest strand",
        f"{rounded_down(fit.largest_strand_mm):.12g} mm, that this gearing and stroke lay without climbing",
    )
    if fit.crossings:
        yield "Crossings", f"{fit.crossings:.0f}: from layer 2 on each turn crosses the layer below twice"
    note = plan.job.calibration
    if note is not None and note.figures:
        yield "Calibration", calibration_line(note)
    yield "Bend", f"{fit.bending_strain:.2%} strain on the barrel"
    if fit.fleet_angle_deg is not None:
        yield "Fleet angle", f"{fit.fleet_angle_deg:.2f} degrees at most"
    if plan.source is not None:
        source = plan.source
        held = f"{with_uncertainty(source.held_m, source.held_u_m, 'm')} by {source.method}"
        yield "Pay-off spool", f"{source.verdict}: holds {held}, needs {rounded_up(source.needed_m, 2):.2f} m"
        yield "Left on it", _left(source)
    marks = [pulses for pulses, kind in plan.stops if kind == "mark"]
    if marks:
        yield "Marks", ", ".join(f"{plan.length_m_at(pulses):.3f} m at pulse {pulses}" for pulses in marks)
    yield from _drive_figures(plan)


def _drive_figures(plan: Plan) -> Iterator[tuple[str, str]]:
    machine, load = plan.job.machine, plan.load
    slowing = f", slowing to {plan.slowest_rpm:.4g} rpm" if plan.slowest_rpm < plan.cruise_rpm else ""
    yield "Time", f"{duration(plan.seconds)} of turning at {plan.cruise_rpm:.4g} rpm{slowing}"
    last = line_speed_m_s(plan.slowest_rpm, plan.coil.turn_length_at_mm(plan.turns))
    wanted = ""
    if machine.line_speed_m_s is not None:
        how = "slows down layer by layer as it grows" if slowing else "keeps one speed in all layers"
        wanted = f", {machine.line_speed_m_s:g} m/s wanted: the spool {how}"
    yield "Line speed", f"{last:.3g} m/s in the last layer{wanted}"
    if load.stopping_turns is None or load.stopping_length_m is None:
        return
    way = f"{turns_text(load.stopping_turns)} turns, {load.stopping_length_m:.2f} m of strand, {load.stopping_s:.1f} s"
    yield "Coming to rest", f"{way} when asked to pause there"
    if load.tension_n != machine.back_tension_n:
        yield "Tension", f"{load.tension_n:.3g} N at the spool, {machine.back_tension_n:g} N before the guides"
    starting = f"{load.starting_torque_n_m:.3f} N m to start again"
    if load.inertia_of:
        starting += f" with the inertia of {load.inertia_of}"
    yield "Torque", f"{load.spool_torque_n_m:.3f} N m at the last layer, for {load.tension_n:.3g} N; {starting}"
    if machine.motor_torque_n_m is not None:
        needs = f"{load.motor_torque_n_m:.3g} of {machine.motor_torque_n_m:g} N m to start again"
        yield "Motor", f"{needs}, geared {float(machine.motor_ratio):g} : 1"


def calibration_line(note: Calibration) -> str:
    """What is calibrated, how and when: "rise by outer diameters, 5 values, of 2031-05-04"."""
    found = [figure for figure in note.figures if figure in note.found]
    rest = [figure for figure in note.figures if figure not in note.found]
    line = f"{' and '.join(found or rest)} by {note.method}, {count_of(note.readings, 'value')}, of {note.date}"
    return line + (f", with the {' and '.join(rest)} known then" if found and rest else "")


def _fits(plan: Plan) -> str:
    if "overfull_layers" in plan.blocking:
        return "not known: no strand lies as close as by this rise"
    more_m = plan.fits_more_m
    more = f"{rounded_down(more_m, 2):.2f} m more" if more_m >= 0 else f"{rounded_up(-more_m, 2):.2f} m less"
    return f"up to {rounded_down(plan.fits_length_m, 2):.2f} m, {more} than asked for"


def _left(source: SourceCheck) -> str:
    """What is left on the pay-off spool, or the most of it where that may be nothing."""
    left = source.left
    if source.surely_short:
        return f"nothing; {between(source.needed_m - source.most_m, None, 'm')} are missing"
    said = with_uncertainty if left.length_m.value >= COVERAGE * left.length_m.u else at_most
    parts = [said(left.length_m.value, left.length_m.u, "m")]
    if left.mass_g is not None:
        parts.append(said(left.mass_g.value, left.mass_g.u, "g"))
    if left.diameter_mm is not None:
        parts.append(said(left.diameter_mm.value, left.diameter_mm.u, "mm") + " across")
    return ", ".join(parts)


def _reasons(plan: Plan) -> Iterator[str]:
    """What dominates the uncertainty, and what to do about it."""
    yield from filter(None, (plan.length_reason, plan.mass_reason))
    if plan.mass is not None and plan.mass.dominant == "strand diameter":
        diameter = plan.job.strand.mean_diameter_mm
        yield f"± 0.05 mm on {diameter:g} mm strand are ± {2 * 0.05 / diameter:.1%} of mass."
