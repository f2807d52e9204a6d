"""A plan for a person: the layers, the fit, how sure it is, and what to mind."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from reelwright.cautions import CAUTION
from reelwright.views.quantities import duration, with_uncertainty
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.winding.plan import Plan

LEVEL = f"(k = {COVERAGE}, about 95 %)"


def terminal_text(plan: Plan, encoding: str) -> str:
    """The plan as the terminal shows it, coloured where it can; signs that its encoding lacks as question marks."""
    console = Console(highlight=False)
    with console.capture() as captured:
        _print_plan(plan, console)
    return captured.get().encode(encoding, "replace").decode(encoding)


def plan_text(plan: Plan) -> str:
    """The plan as plain text, 100 columns wide, for a file."""
    stream = StringIO()
    _print_plan(plan, Console(file=stream, width=100, color_system=None, highlight=False, legacy_windows=False))
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"


def _print_plan(plan: Plan, console: Console) -> None:
    console.print(Text(_heading(plan), style="bold"))
    console.print()
    console.print(_layer_table(plan))
    figures = Table.grid(padding=(0, 2))
    for name, figure in _figures(plan):
        figures.add_row(Text(name), Text(figure))
    console.print(figures)
    console.print()
    for sentence in _reasons(plan):
        console.print(Text(sentence))
    for finding in plan.findings:
        word, style = ("Forbidden", "bold red") if finding.blocks else ("Warning", "yellow")
        console.print(Text.assemble((f"{word} ({finding.code}): ", style), finding.message))
    if plan.ramp is not None:
        console.print(Text.assemble(("Caution: ", "bold"), CAUTION))


def _heading(plan: Plan) -> str:
    strand, spool = plan.job.strand, plan.job.take_up
    what = strand.name or strand.material or "strand"
    return f"{plan.length_m:.3f} m of {what}, {strand.diameter_mm:g} mm, onto {spool.name or 'the take-up spool'}"


def _layer_table(plan: Plan) -> Table:
    table = Table()
    for heading in ("Layer", "Turns", "Length, m", "Total, m", "Diameter, mm", "Pulse at its end", "Pause"):
        table.add_column(heading, justify="right")
    kinds = dict(plan.stops)
    for row, pulses in zip(plan.layers, plan.layer_pulses, strict=True):
        pause = "yes" if kinds.get(pulses) == "layer" else ""
        table.add_row(
            str(row.layer),
            f"{row.turns:.2f}",
            f"{row.length_m:.3f}",
            f"{row.cumulative_length_m:.3f}",
            f"{row.diameter_mm:.2f}",
            str(pulses),
            pause,
        )
    return table


def _figures(plan: Plan) -> Iterator[tuple[str, str]]:
    fit, spool = plan.fit, plan.job.take_up
    exact = f"{plan.layer_turns} = " if plan.layer_turns.denominator > 1 else ""
    yield "Turns", f"{plan.turns:.3f}, in layers of {exact}{float(plan.layer_turns):g}"
    if plan.first_pass_turns != plan.layer_turns:
        yield "First layer", f"only {float(plan.first_pass_turns):.3f} turns, from where the guide stands now"
    yield "Target", f"{plan.target_pulses} pulses, {float(plan.pulses_per_spool_turn):g} in a turn of the spool"
    yield "Length", f"{with_uncertainty(plan.length_m, plan.length_u_m, 'm')} {LEVEL}, counted strand"
    if plan.mass is not None:
        yield "Mass", f"{with_uncertainty(plan.mass_g, plan.mass_u_g, 'g')} {LEVEL}, counted strand"
    if plan.wound_length_m > plan.length_m:
        mass = "" if plan.wound_mass_g is None else f", {plan.wound_mass_g:.1f} g"
        yield "With leader and tail", f"{plan.wound_length_m:.3f} m{mass}"
    if plan.mass is None:
        yield "Mass", "not known: give strand.density_g_cm3, or a material that has one"
    yield "Outer diameter", f"{fit.outer_diameter_mm:.1f} mm on a flange of {spool.flange_diameter_mm:g} mm"
    yield "Flange left", f"{fit.flange_margin_mm:.1f} mm; {fit.fill_share:.0%} of the space is strand"
    yield (
        "Lay",
        f"pitch {plan.coil.pitch_mm:.3f} mm, rise factor {plan.rise_factor:.4f}, end gap {fit.end_gap_mm:.2f} mm",
    )
    yield "Bend", f"{fit.bending_strain:.2%} strain on the barrel"
    if fit.fleet_angle_deg is not None:
        yield "Fleet angle", f"{fit.fleet_angle_deg:.2f} degrees at most"
    if plan.source is not None:
        source = plan.source
        held = f"{with_uncertainty(source.held_m, source.held_u_m, 'm')} by {source.method}"
        yield "Pay-off spool", f"{source.verdict}: holds {held}, needs {source.needed_m:.1f} m"
    marks = [pulses for pulses, kind in plan.stops if kind == "mark"]
    if marks:
        yield "Marks", ", ".join(f"{plan.length_m_at(pulses):.3f} m at pulse {pulses}" for pulses in marks)
    yield "Time", f"{duration(plan.seconds)} of turning at {plan.job.machine.cruise_rpm:g} rpm"
    if plan.ramp is not None:
        yield (
            "Torque",
            f"{plan.torque_n_m:.3f} N m at the last layer, for {plan.job.machine.back_tension_n:g} N of tension",
        )


def _reasons(plan: Plan) -> Iterator[str]:
    """What dominates the uncertainty, in a sentence or two."""
    length = plan.length
    if length.dominant:
        share = length.shares[length.dominant]
        yield f"Most of the length's uncertainty comes from the {length.dominant} ({share:.0%} of its variance)."
    if plan.mass is not None and plan.mass.dominant:
        sentence = (
            f"Most of the mass's comes from the {plan.mass.dominant} ({plan.mass.shares[plan.mass.dominant]:.0%})"
        )
        if plan.mass.dominant == "strand diameter":
            diameter = plan.job.strand.diameter_mm
            sentence += f": ± 0.05 mm on {diameter:g} mm strand are ± {2 * 0.05 / diameter:.1%} of mass"
        yield sentence + "."
