"""Faults of `reelwright calibrate` told by what the person typed, not by the tables that it was read into."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from reelwright.errors import COMMAND_LINE, Fault, FileFaultsError
from reelwright.profiles.values import printable, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from fractions import Fraction

LEFT_OUT = "leave_out"
BARREL = "barrel_mm"
BESIDE_A_FILE = (LEFT_OUT, BARREL)  # what may be given on the command line beside a file of measurements

# where a fault is -> the option that says it
_OPTION_OF = {
    "gross_mass_g": "--gross",
    "empty_mass_g": "--tare",
    "scale_u_g": "--scale-u",
    "length_m": "--tape",
    "length_u_m": "--tape-u",
    "caliper_u_mm": "--caliper-u",
    "resolution_mm": "--resolution",
    "error_limit_mm": "--error-limit",
    BARREL: "--barrel",
    "pitch_mm": "--pitch",
    "job": "--job",
    "file": "--wind",
    "turns": "--turns",
    "target.turns": "--turns",
    "take_up.spool": "--spool",
    "machine.profile": "--machine",
    LEFT_OUT: "--leave-out",
}
# table of a job -> the option that names the profile it comes from
_TABLES = {
    "take_up": "spool",
    "machine": "machine",
    "strand": "strand",
    "lay": "strand",
    "calibration": "strand",
}


class AsTyped(click.Command):
    """A command whose measurements and profiles are called what the command line calls them."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command. Raises what it raises, with the places of faults of the command line renamed."""
        try:
            return super().invoke(ctx)
        except FileFaultsError as failure:
            if failure.source != COMMAND_LINE:
                raise
            typed = dict(_typed(self, ctx.params))
            faults = [Fault(_renamed(fault.path, ctx.params, typed), fault.message) for fault in failure.faults]
            raise FileFaultsError(COMMAND_LINE, faults) from None


def option_of(place: str) -> str:
    """The option that says what is at this place; the place itself where none does."""
    return _OPTION_OF.get(place, place)


def _renamed(place: str, params: Mapping[str, Any], typed: Mapping[str, str]) -> str:
    item = re.match(r"\w+(\[\d+\])?", place)
    if item and item[0] in typed:
        return typed[item[0]]
    table, dot, key = place.partition(".")
    option = _TABLES.get(table, "") if dot and place not in _OPTION_OF else ""
    if option == "strand" and not params.get(option):
        option = "save"  # a strand that is only saved to is what was known of it, too
    if option and params.get(option):
        return f"--{option}" if key == "profile" else f"--{option} {printable(params[option])}, {place}"
    return option_of(place)


def _typed(command: click.Command, params: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Each list of measurements with what the help calls it, and each item of it as a person writes it."""
    given = {parameter.name: parameter for parameter in command.params}
    for key in ("readings", "layers"):
        if key not in given:
            continue
        parameter = given[key]
        called = parameter.opts[0] if isinstance(parameter, click.Option) else (parameter.metavar or key).strip("[].")
        yield key, called
        counts = {"layers": 0, "readings_mm": 0, "pairs_mm": 0}
        for item in params[key] or ():
            of_list = "layers" if key == "layers" else ("readings_mm", "pairs_mm")[len(item) - 1]
            written = f"{item[0]}:{_mm(item[1])}" if key == "layers" else "/".join(map(_mm, item))
            yield f"{of_list}[{counts[of_list]}]", f"{called} {written}"
            counts[of_list] += 1


def _mm(length_mm: Fraction) -> str:
    return f"{shown(length_mm)}mm"
