"""A calibration for a person: what was found beside what was known, from what, and what stands out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from reelwright.views.calibration_doubts import TITLES, choices, doubts, figure_text, questions
from reelwright.views.page import terminal_page
from reelwright.views.quantities import with_uncertainty
from reelwright.views.tables import Column, FigureTable
from reelwright.winding.calibration_change import MOST_NORMALIZED_ERROR, is_same
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE
from reelwright.winding.calibration_methods import MICROMETER, WEIGHED_SPOOL
from reelwright.winding.calibration_readings import OUTLIER_Z
from reelwright.winding.distributions import student_factor
from reelwright.winding.nouns import count_of
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console

    from reelwright.winding.calibration_figures import LabelDensity, StrandFigures
    from reelwright.winding.calibration_methods import CalibrationResult
    from reelwright.winding.calibration_readings import MeasuredDiameter

PUBLISHED_RISE = (3**0.5 / 2, 1.0)  # hexagonal packing to square packing, orthocyclic winding literature
LEVEL = f"k = {COVERAGE}, about 95 %"


def calibration_text(result: CalibrationResult, saved_as: str = "") -> str:
    """The result as the terminal shows it. saved_as: the profile that it is about to go into, or empty."""
    return terminal_page(lambda console: _print(result, console, saved_as))


def _print(result: CalibrationResult, console: Console, saved_as: str) -> None:
    console.print(Text(f"{_sentence_start(result)}, {LEVEL}", style="bold"))
    for question in questions(result):
        console.print(Text(question, style="yellow"))
    console.print(_figures(result))
    console.print(_measurements(result))
    console.print()
    console.print(Text(_off(result)))
    for sentence in _remarks(result):
        console.print(Text(sentence))
    for sentence in doubts(result):
        console.print(Text.assemble(("Warning: ", "yellow"), sentence))
    if result.is_doubtful:
        console.print(Text(f"Measure again, or decide: {choices(result)}."))
    if not saved_as:
        console.print(Text("Nothing is stored. Add --save NAME to keep this in your strand profile of that name."))


def _sentence_start(result: CalibrationResult) -> str:
    return f"By {result.method}: {count_of(result.used, 'value')}"


def _figures(result: CalibrationResult) -> FigureTable:
    columns = [Column("Figure", words=True), Column("Found"), Column("Before")]
    if result.before is None:
        del columns[-1]
    table = FigureTable(*columns)
    for row in _rows(result):
        table.add_row(*row[: len(columns)])
    return table


def _rows(result: CalibrationResult) -> Iterator[tuple[str, str, str]]:
    after, before = result.after, result.before
    texts_before = {} if before is None else {name: _value(before, name) for name in (DIAMETER, RISE, DENSITY)}
    for name in (DIAMETER, RISE, DENSITY):
        if name in result.figures:
            yield TITLES[name], _value(after, name), texts_before.get(name, "")
    if after.ovality_mm and DIAMETER in result.found:
        wide, narrow = after.diameters_mm()
        yield "Wide and narrow", f"{wide:.3f} mm and {narrow:.3f} mm", ""
    metre_before = None if before is None else before.mass_per_metre_g()
    metre = after.mass_per_metre_g()
    if metre is not None or metre_before is not None:
        yield (
            "Mass of a metre",
            with_uncertainty(*metre, "g") if metre else "not known",
            with_uncertainty(*metre_before, "g") if metre_before else "",
        )


def _value(figures: StrandFigures, name: str) -> str:
    value = figures.value(name)
    if value is None:
        return ""
    return figure_text(name, value, figures.u(name))


def _measurements(result: CalibrationResult) -> FigureTable:
    table = FigureTable(
        Column("No"), Column("Measured", words=True), Column("Value"), Column("Fitted", spare=1), Column("Off")
    )
    for value in result.values:
        off = "left out" if value.left_out else "-" if value.normalized is None else f"{value.normalized:+.1f}"
        table.add_row(
            str(value.number),
            value.name,
            f"{value.measured:.7g} {value.unit}",
            f"{value.fitted:.5g}" if value.unit == "mm" else f"{value.fitted:.6g}",
            off,
        )
    return table


def _off(result: CalibrationResult) -> str:
    """What the last column of the measurements says."""
    if result.method == WEIGHED_SPOOL:
        where, limit = "what the known figures foretell", COVERAGE * MOST_NORMALIZED_ERROR
        beyond = f"beyond {limit:g} the {result.found[0]} stands out"
    else:
        where = "the middle reading" if result.method == MICROMETER else "the fitted value"
        beyond = f"beyond {OUTLIER_Z:g} it stands out"
    told = f"Off: how far it lies from {where}, in units of its own uncertainty; {beyond}."
    alone = any(value.normalized is None and not value.left_out for value in result.values)
    return f"{told} A dash: nothing else tells of it." if alone else told


def _of_readings(measured: MeasuredDiameter) -> Iterator[str]:
    """What micrometer readings tell beside their mean."""
    mean = measured.mean
    yield (
        f"The readings scatter by {mean.scatter:.4f} mm; {count_of(mean.count, 'reading')} leave "
        f"{mean.random_u:.4f} mm of it in the mean, and the micrometer adds its own error."
    )
    wider = student_factor(mean.degrees) / COVERAGE
    if wider >= 1.05:
        yield (
            f"So few readings tell the scatter itself only roughly: the error bar is {wider:.1f} times as wide for "
            "that (Student's factor). More places make it narrower."
        )
    if measured.ovality is not None:
        oval = with_uncertainty(abs(measured.ovality.value), measured.ovality.u, "mm")
        yield f"Ovality {oval}: " + ("the strand is oval." if measured.is_oval else "no more than its uncertainty.")


def _remarks(result: CalibrationResult) -> Iterator[str]:
    measured, line, estimated = result.measured, result.line, result.estimated
    if measured is not None:
        yield from _of_readings(measured)
    if result.mass_relative_u:
        least, rest = result.found[0], [name for name in result.mass_relative_u if name != result.found[0]]
        others = ", ".join(f"{name} {result.mass_relative_u[name]:.1%}" for name in rest)
        yield f"Solved for the {least}: it made this mass unsure by {result.mass_relative_u[least]:.1%} ({others})."
    if result.method == WEIGHED_SPOOL and RISE not in result.found:
        yield (
            "A weight alone betters the mass of later winds, not their length. Measure the outer diameter over the "
            "last full layer too: `reelwright calibrate together`."
        )
    if RISE in result.found and result.pitch_mm is None:
        yield "No lay pitch is given (--pitch), so no later plan can tell whether it lays the strand at another one."
    if RISE in result.found and _is_odd_rise(result.after):
        yield (
            f"Published rise factors lie between {PUBLISHED_RISE[0]:.3f} (nested) and {PUBLISHED_RISE[1]:g} (stacked): "
            "check the layers' numbers, the count and the barrel."
        )
    if line is not None:
        yield (
            f"The line meets layer 1 at {with_uncertainty(line.line_mm, line.line_u_mm, 'mm')}; barrel and strand make "
            f"{with_uncertainty(line.known_mm, line.known_u_mm, 'mm')}: "
            + (
                "they agree."
                if line.agrees
                else "they do not agree. Measure the barrel, and check the layers' numbers."
            )
        )
    if estimated is not None and not estimated.consistent:
        yield (
            "The measurements differ by more than their uncertainties explain, so every error bar is made "
            f"{estimated.scatter:.1f} times as wide (the Birge ratio)."
        )
    calibrated = result.before.calibrated if result.before else ()
    if RISE in calibrated and RISE not in result.figures:
        yield "The rise factor found earlier is not taken along: it was found with another diameter. Measure it again."
    if result.before is not None and DENSITY in calibrated and DENSITY not in result.figures:
        yield _density_let_go(result.before, result.label_density)


def _density_let_go(before: StrandFigures, label: LabelDensity | None) -> str:
    """What counts in place of the density of the calibration before, which may have found it or only used it."""
    was, u = before.density_g_cm3 or 0.0, before.density_u_g_cm3
    if label is None:
        return (
            f"The density of before, {figure_text(DENSITY, was, u)}, goes with another diameter and is not taken "
            "along; the strand's profile gives none. Weigh a wound spool again."
        )
    now = f"{figure_text(DENSITY, label.density_g_cm3, label.u_g_cm3)}, of {label.source}"
    if is_same(label.density_g_cm3, label.u_g_cm3, was, u):
        return f"The density is {now}: the calibration before went by it and did not find another."
    return (
        f"The density of before, {figure_text(DENSITY, was, u)}, goes with another diameter and is not taken along: "
        f"{now}, counts again. Weigh a wound spool again."
    )


def _is_odd_rise(figures: StrandFigures) -> bool:
    """Whether the rise lies outside the published range by more than its expanded uncertainty."""
    low, high = PUBLISHED_RISE
    rise, expanded = figures.rise or 0.0, COVERAGE * figures.rise_u
    return not low - expanded <= rise <= high + expanded
