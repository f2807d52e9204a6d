"""`reelwright calibrate`: from measurements to a strand's diameter, rise factor and density."""

from __future__ import annotations

import os
from contextlib import contextmanager
from textwrap import indent
from typing import TYPE_CHECKING, Any

import click
from attrs import evolve

from reelwright.cli.amounts import Diameters, LayerDiameter, Length
from reelwright.cli.calibrate_options import (
    CALIPER,
    LEAVE_OUT,
    RESULT_OPTIONS,
    WEIGHT_OPTIONS,
    WIND_OPTIONS,
    given_micrometer,
    known_strand,
    millimetres,
    nothing_beside,
    one_wind,
    weights,
    wind_table,
    with_options,
    within_range,
)
from reelwright.cli.calibrate_places import BESIDE_A_FILE, AsTyped, option_of
from reelwright.cli.measured_winds import Names, StrandAsKnown, measured_winds, strand_of_profile, with_measured
from reelwright.cli.prose import say
from reelwright.errors import COMMAND_LINE, Fault, FileFaultsError, UsageError
from reelwright.profiles.calibrations import kept_evidence
from reelwright.profiles.measurements import EXAMPLE, read_measurements
from reelwright.profiles.store import comes_along
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import printable
from reelwright.winding.calibration_change import changes_between, let_go_between
from reelwright.winding.calibration_evidence import Repetition, repetition_of
from reelwright.winding.calibration_figures import FIGURES, StrandFigures
from reelwright.winding.calibration_methods import (
    MICROMETER,
    CalibrationResult,
    calibrate_diameter,
    calibrate_layers,
    calibrate_together,
    calibrate_weight,
)
from reelwright.winding.calibration_readings import ERROR_LIMIT_MM, RESOLUTION_MM
from reelwright.winding.calibration_winds import TAPE_U_SHARE, ImpossibleMeasurementsError, MeasuredWind
from reelwright.winding.job import Millimetres

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path


@click.group()
def command() -> None:
    """Find out a strand's diameter, rise factor and density, so that later plans come true.

    Begin with `diameter`, which takes a micrometer; after the first wind `together`, with a scale and a caliper,
    betters the length of later ones most.

    The rise factor is what a layer adds to the radius, counted in strand diameters. Each kind of measurement shows
    its result beside what was known; --save NAME keeps it in your strand profile of that name, and every job with
    that strand goes by it. The calibration before stays in the file as history.

    An uncertainty that you give is a standard one: what you would bet two to one on.
    """


@command.command("diameter", cls=AsTyped)
@click.argument("readings", nargs=-1, type=Diameters(), metavar="[DIAMETER]...")
@click.option("--resolution", type=Length("mm"), help=f"Last digit of the micrometer; default {RESOLUTION_MM:g}mm.")
@click.option("--error-limit", type=Length("mm"), help=f"Its largest error; default {ERROR_LIMIT_MM:g}mm.")
@click.option(
    "--from",
    "path",
    metavar="FILE.toml",
    help="Take [micrometer] of a file of measurements, as `together --help` shows one.",
)
@LEAVE_OUT
@with_options(*RESULT_OPTIONS)
def diameter(
    readings: tuple[tuple[float, ...], ...], path: str | None, leave_out: tuple[int, ...], strand: str, **options: Any
) -> None:
    """Mean diameter and ovality from micrometer readings.

    Measure at five places or more: 1.74mm 1.75mm ... Of oval strand measure twice at each place, first across the wide
    side and then at right angles: 1.76mm/1.72mm ...
    """
    table: dict[str, object] = {
        "readings_mm": [reading[0] for reading in readings if len(reading) == 1],
        "pairs_mm": [list(reading) for reading in readings if len(reading) == 2],
    }
    table |= millimetres(resolution_mm=options.pop("resolution"), error_limit_mm=options.pop("error_limit"))
    given = given_micrometer(path, table)
    name = strand or known_strand(options["save"])
    known = strand_of_profile(name) if name else StrandAsKnown(None, {})
    with _told_of(path):
        result = calibrate_diameter(given.readings, given.micrometer, known.figures, leave_out, known.label_density)
    _finish(result, known, **options)


@command.command("layers", cls=AsTyped, short_help="Rise factor from outer diameters over finished layers.")
@click.argument("layers", nargs=-1, type=LayerDiameter(), metavar="[LAYER:DIAMETER]...")
@CALIPER
@click.option("--barrel", type=Length("mm"), help="Barrel diameter, where no wind is named.")
@click.option("--pitch", type=Length("mm"), help="Lay pitch, where no wind is named.")
@click.option(
    "--from",
    "path",
    metavar="FILE.toml",
    help="Take the [[wind]] of a file of measurements, as `together --help` shows one.",
)
@LEAVE_OUT
@with_options(*WIND_OPTIONS, *RESULT_OPTIONS)
def layers(
    layers: tuple[tuple[int, float], ...], path: str | None, leave_out: tuple[int, ...], strand: str, **options: Any
) -> None:
    """Rise factor from outer diameters over finished layers, such as 2:87.3mm 6:100.4mm 10:113.8mm.

    Two layers well apart will do; with a known barrel one is enough.
    """
    loose, faults = within_range(
        Millimetres, millimetres(barrel_mm=options.pop("barrel"), pitch_mm=options.pop("pitch"))
    )
    table = {"layers": [list(each) for each in layers]} | millimetres(caliper_u_mm=options.pop("caliper_u"))
    measured, folder = one_wind(path, table | wind_table(options), faults)
    names = Names(strand, options.pop("spool"), options.pop("machine"))
    if measured.job is None and not measured.file and not (names.spool and names.machine):
        if names.spool or names.machine:
            missing = "--machine" if names.spool else "--spool"
            raise UsageError("The wind is named in part.", f"Give {missing} too, or --barrel and --pitch for both.")
        if not strand:
            raise UsageError("A rise is counted in strand diameters.", "Name the strand with --strand.")
        wind, known = with_measured(MeasuredWind(**loose), measured), strand_of_profile(strand)
    else:
        if loose:
            raise UsageError("The wind that is named says barrel and pitch.", "Leave out --barrel and --pitch.")
        (wind,), known = measured_winds([measured], names, folder)
    with _told_of(path):
        result = calibrate_layers(wind, _figures(known), leave_out)
    _finish(result, known, **options)


@command.command("weight", cls=AsTyped, short_help="One figure from the mass of a wound spool.")
@with_options(*WEIGHT_OPTIONS)
@click.option("--solve", type=click.Choice(FIGURES), help="The figure to find; default: the least known.")
@with_options(*WIND_OPTIONS, *RESULT_OPTIONS)
def weight(strand: str, solve: str | None, **options: Any) -> None:
    """One figure from the mass of a wound spool whose turns were counted.

    A mass is density x section x length, so it tells one of diameter, rise and density from the other two.
    """
    table = wind_table(options) | weights(options)
    measured, folder = one_wind(None, table)
    (wind,), known = measured_winds([measured], Names(strand, options.pop("spool"), options.pop("machine")), folder)
    with _told_of(None):
        result = calibrate_weight(wind, _figures(known), solve)
    _finish(result, known, **options)


@command.command(
    "together",
    cls=AsTyped,
    short_help="Everything measured, of one or several winds, fitted together.",
    epilog="\b\nA file of measurements:\n" + indent(EXAMPLE, "  "),
)
@with_options(*WEIGHT_OPTIONS)
@click.option("--tape", "length_m", type=Length(), help="Length of all strand wound, measured along a tape.")
@click.option(
    "--tape-u", "length_u_m", type=Length("mm"), help=f"Its standard uncertainty; default {TAPE_U_SHARE:.1%} of it."
)
@click.option(
    "--layer", "layers", type=LayerDiameter(), multiple=True, help="LAYER:DIAMETER as in `layers`; may be repeated."
)
@CALIPER
@click.option(
    "--from", "path", metavar="FILE.toml", help="Take a file of measurements, as below, of several winds perhaps."
)
@LEAVE_OUT
@with_options(*WIND_OPTIONS, *RESULT_OPTIONS)
def together(path: str | None, leave_out: tuple[int, ...], strand: str, **options: Any) -> None:
    """Everything measured, fitted together: weights, outer diameters, a taped length, micrometer readings.

    What was known before counts as a measurement too, as sure as it was. A weighed spool with the outer diameter
    over its last full layer tells the length of later winds best: the diameter tells the rise, the mass the section.
    """
    lengths = {key: options.pop(key) for key in ("length_m", "length_u_m")}
    table = wind_table(options) | weights(options) | {key: each for key, each in lengths.items() if each is not None}
    table |= millimetres(caliper_u_mm=options.pop("caliper_u"))
    table |= {"layers": [list(each) for each in options.pop("layers")]}
    names = Names(strand, options.pop("spool"), options.pop("machine"))
    micrometer = None
    if path is None:
        measured, folder = one_wind(None, table)
        winds, known = measured_winds([measured], names, folder)
    else:
        nothing_beside(path, {key: value for key, value in table.items() if value})
        from_file = read_measurements(path)
        micrometer = from_file.micrometer
        if not from_file.winds:
            raise UsageError(f"{path} has no wind.", "Add a table [[wind]], or use `reelwright calibrate diameter`.")
        winds, known = measured_winds(from_file.winds, names, os.path.dirname(path))
    with _told_of(path):
        result = calibrate_together(
            winds,
            _figures(known),
            leave_out,
            micrometer.readings if micrometer else (),
            micrometer.micrometer if micrometer else None,
        )
    _finish(result, known, **options)


def _finish(
    result: CalibrationResult, known: StrandAsKnown, save: str | None, keep: tuple[str, ...], as_json: bool
) -> None:
    """Show the result; store it where that was asked for and nothing stands against it."""
    from datetime import date  # not paid for by --help

    kept = _kept(keep, result)
    today = date.today().isoformat()
    if save:
        result = _beside_what_is_there(result, known, save)
    result = evolve(result, repetition=_repetition(result, known, save))
    if as_json:
        from reelwright.json_text import json_text
        from reelwright.winding.calibration_record import result_record

        click.echo(json_text(result_record(result, today)))
    else:
        from reelwright.views.calibration import calibration_text

        click.echo(calibration_text(result, saved_as=save or ""), nl=False)
    if save:
        _store(result, known, save, kept, today)


def _kept(keep: Sequence[str], result: CalibrationResult) -> set[str]:
    """The decisions for a result, each the number of a measurement or the name of a figure, or FileFaultsError."""
    numbers = {str(value.number) for value in result.values}
    there = f"there are measurements 1 to {len(numbers)}, and {', '.join(FIGURES)}"
    faults = [
        Fault("--keep", f'there is no measurement or figure "{printable(each)}"; {there}')
        for each in keep
        if each not in numbers and each not in FIGURES
    ]
    if faults:
        raise FileFaultsError(COMMAND_LINE, faults)
    return set(keep)


def _beside_what_is_there(result: CalibrationResult, known: StrandAsKnown, name: str) -> CalibrationResult:
    """The result with what it changes and lets go in another profile than the one it started from, if it goes into one.

    A diameter then goes with the density that this profile has.
    """
    if name.casefold() == known.profile.casefold():
        return result
    result = evolve(result, let_go=())
    if not known_strand(name):
        return result
    there = strand_of_profile(name)
    if result.method == MICROMETER:
        density, u, _ = there.label_density or (None, 0.0, "")
        after = evolve(result.after, density_g_cm3=density, density_u_g_cm3=u)
        result = evolve(result, after=after, label_density=there.label_density)
    changes = changes_between(there.figures, result.after, result.figures, (), name)
    let_go = let_go_between(there.figures, result.after, result.figures, name)
    return evolve(result, changes=result.changes + changes, let_go=let_go)


def _repetition(result: CalibrationResult, known: StrandAsKnown, save: str | None) -> Repetition | None:
    """Which measurements the strand's figures rest on already, or that all of them are in the profile to save to."""
    again = repetition_of(result.values, known.evidence)
    if again or not save:
        return again
    there = repetition_of(result.values, kept_evidence(save))
    return there if there and len(there.numbers) == result.used else None


def _store(result: CalibrationResult, known: StrandAsKnown, name: str, kept: set[str], today: str) -> None:
    undecided = evolve(
        result,
        values=tuple(value for value in result.values if str(value.number) not in kept),
        changes=tuple(change for change in result.changes if change.figure not in kept),
        let_go=tuple(each for each in result.let_go if each.figure not in kept),
        repetition=None if kept.issuperset(result.decided_by) else result.repetition,
    )
    if undecided.is_doubtful:
        from reelwright.views.calibration_doubts import choices, in_short, questions

        told = " ".join([*questions(undecided), f"Nothing was stored: {in_short(undecided)}."])
        raise UsageError(told, f"Measure again, or decide: {choices(undecided)}.")
    from reelwright.cli.output_file import write_whole
    from reelwright.profiles.calibrations import CALIBRATION, with_calibration
    from reelwright.profiles.jobs import strand_faults
    from reelwright.profiles.store import Profiles
    from reelwright.winding.calibration_record import profile_record

    record = profile_record(result, today, known.evidence)
    path, text = with_calibration(name, record, known.values)
    faults = strand_faults(name, {**(Profiles().find("strand", name) or known.values), CALIBRATION: record})
    if faults:
        raise FileFaultsError("the result, which is not stored,", faults)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as failure:
        raise UsageError(
            f"The folder {path.parent} cannot be made: {failure.strerror}.", "Name another one by REELWRIGHT_HOME."
        ) from None
    write_whole(path, text)
    say(f'Stored as strand "{name}" in {path}.{_in_place_of_another(name, path)}', err=True)


def _in_place_of_another(name: str, path: Path) -> str:
    """That the profile goes before the one of its name that comes with the program, and how to undo that."""
    if not comes_along("strand", name):
        return ""
    tables = read_toml(path)
    strands = tables.get("strand", {})
    is_alone = len(tables) == 1 and isinstance(strands, dict) and len(strands) == 1
    undo = "remove that file" if is_alone else f'take [strand."{name}"] and what is under it out of that file'
    return f" It is used in place of the one of that name that comes along; to undo that, {undo}."


@contextmanager
def _told_of(path: str | None) -> Iterator[None]:
    """Turns what winding finds impossible into an error of the file or the command line."""
    try:
        yield
    except ImpossibleMeasurementsError as impossible:
        faults = [
            Fault(option_of(place) if place in BESIDE_A_FILE else place, sentence)
            for place, sentence in impossible.faults
        ]
        raise FileFaultsError(path or COMMAND_LINE, faults) from None


def _figures(known: StrandAsKnown) -> StrandFigures:
    if known.figures is None:
        raise TypeError("a wind always has a strand")
    return known.figures
