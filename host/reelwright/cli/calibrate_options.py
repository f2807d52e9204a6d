"""The options of `reelwright calibrate`, and the tables of measurements that they stand for."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, TypeVar

import click

from reelwright.cli.amounts import Length, Mass, Number
from reelwright.cli.for_scripts import AS_JSON
from reelwright.errors import COMMAND_LINE, Fault, FileFaultsError, UsageError
from reelwright.profiles import profile_names
from reelwright.profiles.calibrations import check_name
from reelwright.profiles.measurements import MicrometerReadings, WindMeasurements, read_measurements, read_table
from reelwright.profiles.values import BadValueError, read_value
from reelwright.winding.calibration_winds import CALIPER_U_MM
from reelwright.winding.source import SCALE_U_G

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from fractions import Fraction

Function = TypeVar("Function", bound="Callable[..., Any]")
WIND_OPTIONS = (
    click.option("--job", type=int, metavar="NUMBER", help="The wind that was measured, by its number in the ledger."),
    click.option("--wind", "file", metavar="JOB.toml", default="", help="Or by the job file that was wound."),
    click.option("--spool", metavar="NAME", default="", help="Or by its take-up spool, a profile's name such as kilo,"),
    click.option("--machine", metavar="NAME", default="", help="and its winder, a profile's name such as bench-dc."),
    click.option("--turns", type=Number(), help="Turns of the spool, as counted. Default: what the ledger says."),
)
WEIGHT_OPTIONS = (
    click.option("--gross", "gross_mass_g", type=Mass(), help="Mass of the wound spool, such as 815g."),
    click.option("--tare", "empty_mass_g", type=Mass(), help="Mass of the empty spool."),
    click.option(
        "--scale-u", "scale_u_g", type=Mass(), help=f"Standard uncertainty of one weighing; default {SCALE_U_G:g}g."
    ),
)
CALIPER = click.option(
    "--caliper-u",
    "caliper_u",
    type=Length("mm"),
    help=f"Standard uncertainty of an outer diameter; default {CALIPER_U_MM:g}mm.",
)
LEAVE_OUT = click.option(
    "--leave-out",
    type=int,
    multiple=True,
    metavar="NUMBER",
    help="Do not use the measurement of this number in the table; may be repeated.",
)


def _fit_to_save(_context: click.Context, _option: click.Parameter, name: str | None) -> str | None:
    """Refuses a name before anything is reckoned: a result on the screen looks as if it were stored."""
    if name is not None:
        check_name(name)
    return name


RESULT_OPTIONS = (
    click.option(
        "--strand",
        metavar="NAME",
        default="",
        help="The strand, by its profile's name such as pla-1.75: what was known of it.",
    ),
    click.option(
        "--save", metavar="NAME", callback=_fit_to_save, help="Store the result in your strand profile of this name."
    ),
    click.option(
        "--keep",
        multiple=True,
        metavar="NUMBER|FIGURE",
        help="Store although a warning names this measurement, or this figure: diameter, rise or density. "
        "May be repeated.",
    ),
    AS_JSON,
)


def with_options(*options: Callable[[Function], Function]) -> Callable[[Function], Function]:
    """Adds several options to a command, in their order."""

    def add(function: Function) -> Function:
        for option in reversed(options):
            function = option(function)
        return function

    return add


def millimetres(**lengths: Fraction | None) -> dict[str, Any]:
    """Lengths given in metres as millimetres, without those that were not given."""
    return {key: 1000 * length for key, length in lengths.items() if length is not None}


def within_range(kind: Any, lengths: dict[str, Any]) -> tuple[dict[str, Any], list[Fault]]:
    """The lengths that may be of this kind, as this kind, and what is wrong with the others."""
    faults, good = [], {}
    for key, value in lengths.items():
        try:
            good[key] = read_value(value, kind)
        except BadValueError as bad:
            faults += [Fault(key, sentence) for _, sentence in bad.faults]
    return good, faults


def wind_table(options: dict[str, Any]) -> dict[str, object]:
    """What says which wind was measured, taken out of the options."""
    given = {key: options.pop(key) for key in ("job", "file", "turns")}
    return {key: value for key, value in given.items() if value is not None}


def weights(options: dict[str, Any]) -> dict[str, object]:
    """The weighings, taken out of the options."""
    given = {key: options.pop(key) for key in ("gross_mass_g", "empty_mass_g", "scale_u_g")}
    return {key: value for key, value in given.items() if value is not None}


def nothing_beside(path: str, given: Mapping[str, object]) -> None:
    """Refuse measurements on the command line beside a file of them. Raises UsageError."""
    if given:
        raise UsageError(
            f"{path} holds the measurements, and the command line has some too ({', '.join(given)}).",
            "Write all of them into the file, or none.",
        )


def given_micrometer(path: str | None, table: dict[str, object]) -> MicrometerReadings:
    """The readings of the command line, or those of the file. Raises UsageError or FileFaultsError."""
    table = {key: value for key, value in table.items() if value != []}
    if path is None:
        if not table:
            raise UsageError("No reading is given.", "Write them one after the other: 1.74mm 1.75mm 1.74mm ...")
        read: MicrometerReadings = _read(MicrometerReadings, table)
        return read
    nothing_beside(path, table)
    micrometer = read_measurements(path).micrometer
    if micrometer is None:
        raise UsageError(f"{path} has no readings of a micrometer.", "Add a table [micrometer] with readings_mm.")
    return micrometer


def one_wind(path: str | None, table: dict[str, object], faults: Sequence[Fault] = ()) -> tuple[WindMeasurements, str]:
    """The wind of the command line, or the only one of the file; and the folder that its file's name starts from.

    faults: of other options, to be told together with the wind's. Raises UsageError or FileFaultsError.
    """
    table = {key: value for key, value in table.items() if value not in (None, "", [])}
    if path is None:
        return _read(WindMeasurements, table, faults), ""
    nothing_beside(path, table)
    if faults:
        raise FileFaultsError(COMMAND_LINE, faults)
    winds = read_measurements(path).winds
    if len(winds) != 1:
        raise UsageError(
            f"{path} has {len(winds)} tables [[wind]].", "Give one; `reelwright calibrate together` takes several."
        )
    return winds[0], os.path.dirname(path)


def known_strand(name: str | None) -> str:
    """The name again where a strand's profile has it; else empty."""
    known = {each.casefold() for each in profile_names("strand")} if name else set()
    return name if name and name.casefold() in known else ""


def _read(kind: Any, table: dict[str, object], others: Sequence[Fault] = ()) -> Any:
    faults = list(others)
    read = read_table(kind, table, "", faults)
    if faults:
        raise FileFaultsError(COMMAND_LINE, faults)
    return read
