"""Gear trains for a person: a train from all sides, and the trains that a search found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from reelwright.views.page import terminal_page
from reelwright.views.tables import Column, FigureTable
from reelwright.winding.gear_check import check_train, pitch_verdict
from reelwright.winding.gear_teeth import least_teeth, least_teeth_in_practice, undercut
from reelwright.winding.nouns import count_of
from reelwright.winding.rounding import rounded_up
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from fractions import Fraction

    from rich.console import RenderableType

    from reelwright.winding.gear_check import Mesh, TrainCheck
    from reelwright.winding.gear_search import FoundTrain, Search, WantedPitch
    from reelwright.winding.gear_teeth import ToothForm
    from reelwright.winding.gears import Stages


def check_text(check: TrainCheck) -> str:
    """The train as the terminal shows it."""
    parts: list[RenderableType] = [Text(_heading(check), style="bold"), Text(_form(check.form)), _gears(check.meshes)]
    parts.append(_meshes(check.meshes))
    if check.lays:
        parts.append(_lays(check))
    parts.append(Text())
    if not check.lays:
        parts.append(Text("No stroke is known, so no pitch: give --stroke, or a spool with --spool."))
    parts += [Text(sentence) for sentence in _remarks(check)]
    parts += [Text.assemble((f"Warning ({finding.code}): ", "yellow"), finding.message) for finding in check.findings]
    return _shown(parts)


def search_text(search: Search, wanted: WantedPitch, form: ToothForm) -> str:
    """The trains as the terminal shows them, best first, and how the best one is written in a job file."""
    turns = wanted.stroke_mm / wanted.pitch_mm
    diameter = wanted.strand_diameter_mm
    dwell = f" and {float(wanted.dwell_turns):g} of dwell" if wanted.dwell_turns else ""
    heading = (
        f"{float(wanted.pitch_mm):g} mm of pitch on a stroke of {float(wanted.stroke_mm):g} mm are {float(turns):.4f} "
        f"turns per layer{dwell}; with {_exact(wanted.screw_turns_per_pass)} screw turns a pass, a ratio of "
        f"{float(wanted.ratio_for(wanted.pitch_mm)):.4f}."
    )
    best = ", ".join(f"[{driver}, {driven}]" for driver, driven in search.trains[0].stages)
    parts: list[RenderableType] = [Text(heading, style="bold")]
    if diameter is not None and wanted.strand_diameter_u_mm is not None:
        parts.append(
            Text(
                f"That pitch is the strand's {float(diameter):g} mm and {COVERAGE} times its standard uncertainty "
                f"of {float(wanted.strand_diameter_u_mm):g} mm, lest the thickest climb; --pitch gives another."
            )
        )
    if search.nearest is not None:
        told = (
            f"None comes within {float(100 * wanted.tolerance):g} % of it; these are farther off, and good by the plan."
        )
        parts.append(Text(told, style="yellow"))
    parts += [Text(_form(form)), _trains(search, wanted, form), Text()]
    if any(_is_undercut(teeth, form) for train in search.trains for stage in train.stages for teeth in stage):
        parts.append(Text("* undercut: the flanks lose their foot. `reelwright gears check` tells the mend."))
    parts.append(
        Text(
            "Off: by how much the pitch misses. Coprime: pairs whose teeth all meet all others in turn, and so wear "
            "evenly. Screw turns: as the spool does, or against it."
        )
    )
    parts += [
        Text(
            f"{len(search.trains)} shown of {search.reach} trains in reach. The first in a job file, under [machine]:"
        ),
        Text(f"gears = [{best}]"),
        Text("`reelwright gears check` tells its hands, diameters and warnings."),
    ]
    return _shown(parts)


def _shown(parts: Sequence[RenderableType]) -> str:
    return terminal_page(lambda console: console.print(*parts, sep="\n"))


def _exact(value: Fraction) -> str:
    """A fraction exactly, with its decimal value where it is none of the whole numbers."""
    return str(value) if value.denominator == 1 else f"{value} = {float(value):g}"


def _train_name(stages: Stages) -> str:
    return ", ".join(f"{driver}:{driven}" for driver, driven in stages)


def _heading(check: TrainCheck) -> str:
    return (
        f"{_train_name(check.stages)}: ratio {_exact(check.ratio)}; with {_exact(check.screw_turns_per_pass)} screw "
        f"turns a pass {_exact(check.turns_per_layer)} spool turns a layer"
    )


def _form(form: ToothForm) -> str:
    helix = f", helix {form.helix_angle_deg:g}°" if form.helix_angle_deg else ""
    angles = f"pressure angle {form.pressure_angle_deg:g}°{helix}"
    return (
        f"{form.kind.capitalize()} gears, module {form.module_mm:g} mm, {angles}: no undercut "
        f"from {least_teeth(form)} teeth on ({least_teeth_in_practice(form)} in practice)."
    )


def _gears(meshes: Sequence[Mesh]) -> FigureTable:
    table = FigureTable(
        Column("Shaft"),
        Column("Gear"),
        Column("Teeth"),
        Column("Pitch\ndiameter", "mm", spare=2),
        Column("Tip\ndiameter", "mm", spare=3),
        Column("Hand", spare=1),
        Column("Undercut"),
    )
    for mesh in meshes:
        for role, gear in (("driver", mesh.driver), ("driven", mesh.driven)):
            table.add_row(
                str(gear.shaft),
                role,
                str(gear.teeth),
                f"{gear.pitch_diameter_mm:.3f}",
                f"{gear.tip_diameter_mm:.3f}",
                gear.hand,
                f"yes, shift {rounded_up(gear.profile_shift, 3):.3f}" if gear.undercut == "undercut" else gear.undercut,
            )
    return table


def _meshes(meshes: Sequence[Mesh]) -> FigureTable:
    table = FigureTable(
        Column("Mesh"),
        Column("Centre\ndistance", "mm"),
        Column("Contact\nratio", spare=2),
        Column("Same teeth\nmeet again after", spare=1, words=True),
    )
    for mesh in meshes:
        hunting = ", all with all" if mesh.meeting.hunting else ""
        table.add_row(
            f"{mesh.driver.teeth}:{mesh.driven.teeth}",
            f"{mesh.centre_distance_mm:.4f}",
            f"{mesh.contact_ratio:.2f}",
            f"{count_of(mesh.meeting.driver_turns, 'turn')} of the driver{hunting}",
        )
    return table


def _lays(check: TrainCheck) -> FigureTable:
    table = FigureTable(
        Column("Strand", "mm"),
        Column("Stroke", "mm", spare=1),
        Column("Pitch", "mm"),
        Column("Pitch less\nstrand", "mm", spare=2),
        Column("Verdict"),
        Column("Touches at\nstroke", "mm", spare=3),
    )
    for lay in check.lays:
        table.add_row(
            f"{float(lay.diameter_mm):g}",
            f"{float(lay.stroke_mm):g}",
            f"{float(lay.pitch_mm):.4f}",
            f"{float(lay.error_mm):+.4f}",
            lay.verdict,
            f"{rounded_up(float(lay.touching_stroke_mm), 2):.2f}",
        )
    return table


def _remarks(check: TrainCheck) -> Iterator[str]:
    if check.dwell_turns:
        yield f"Spool turns of each layer while the guide stands at the flange: {_exact(check.dwell_turns)}."
    way = "the way the spool does" if check.same_way else "against the spool"
    yield f"The screw turns {way}; a self-reversing screw carries the guide across either way."
    if check.coaxial:
        yield "Both stages have one centre distance: the screw can stand on the spool's axis."
    if check.form.kind == "helical":
        opposed = ", and on a shaft with two gears their pushes oppose each other" if len(check.meshes) > 1 else ""
        yield (
            f"Each gear pushes along its shaft with {check.form.thrust_share:.0%} of its tooth force{opposed}: hold "
            "the shafts. All hands may be exchanged together."
        )
    if check.form.kind == "herringbone":
        yield "The halves of each gear are mirrored, so that no shaft is pushed along. Hands are seen from one end."


def _trains(search: Search, wanted: WantedPitch, form: ToothForm) -> FigureTable:
    diameter = wanted.strand_diameter_mm
    verdicts = [] if diameter is None else [pitch_verdict(train.pitch_mm, diameter) for train in search.trains]
    told = any(verdict != "good" for verdict in verdicts)  # a column of "good" is worth no width
    table = FigureTable(
        Column("No"),
        Column("Gears"),
        Column("Pitch", "mm"),
        Column("Off", "%", spare=1),
        Column("Teeth", spare=3),
        Column("Centres", "mm", spare=2),
        Column("Coprime", spare=5),
        Column("Screw turns", spare=4),
        *[Column("Verdict")] * told,
    )
    for place, train in enumerate(search.trains, 1):
        table.add_row(str(place), *_train_row(train, wanted, form), *verdicts[place - 1 : place] * told)
    return table


def _train_row(train: FoundTrain, wanted: WantedPitch, form: ToothForm) -> Iterator[str]:
    check = check_train(train.stages, wanted.screw_turns_per_pass, form)
    yield ", ".join(f"{_marked(driver, form)}:{_marked(driven, form)}" for driver, driven in train.stages)
    yield f"{float(train.pitch_mm):.4f}"
    yield f"{float(100 * train.pitch_error_mm / wanted.pitch_mm):+.2f}"
    yield str(train.total_teeth)
    yield ", ".join(f"{mesh.centre_distance_mm:.2f}" for mesh in check.meshes)
    yield f"{sum(mesh.meeting.hunting for mesh in check.meshes)} of {len(check.meshes)}"
    yield "same way" if check.same_way else "against"


def _is_undercut(teeth: int, form: ToothForm) -> bool:
    return undercut(teeth, form) == "undercut"


def _marked(teeth: int, form: ToothForm) -> str:
    return f"{teeth}*" if _is_undercut(teeth, form) else str(teeth)
