"""A file of measurements: micrometer readings of a strand, and winds that were measured. EXAMPLE shows one."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

from attrs import fields, frozen

from reelwright.errors import Fault, FileFaultsError
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import BadValueError, near, printable, read_value, shown
from reelwright.winding.calibration_readings import ERROR_LIMIT_MM, RESOLUTION_MM, Micrometer, Reading
from reelwright.winding.calibration_winds import CALIPER_U_MM
from reelwright.winding.job import (  # noqa: TC001 - types of fields, which are read while the program runs
    EmptyGrams,
    Grams,
    Metres,
    Millimetres,
    StrandMillimetres,
    Turns,
)
from reelwright.winding.quantities import Quantity
from reelwright.winding.source import SCALE_U_G

if TYPE_CHECKING:
    import os

EXAMPLE = """\
[micrometer]                     # optional
readings_mm = [1.74, 1.75, 1.74] # or pairs_mm = [[1.76, 1.73]]
resolution_mm = 0.01             # optional, as is error_limit_mm
[[wind]]                         # one for each wind
job = 12                         # its number in the ledger
gross_mass_g = 815               # with empty_mass_g; optional scale_u_g
empty_mass_g = 212
layers = [[2, 83.6], [6, 97.1]]  # layer, mm over it; optional caliper_u_mm
[[wind]]
file = "coil.toml"               # or by the job file that was wound,
turns = 420                      # with the turns as counted
length_m = 40.12                 # along a tape; optional length_u_m
"""

Layer = Annotated[int, Quantity("", at_least=1, at_most=1000)]


@frozen
class MicrometerReadings:
    """The table [micrometer]: readings_mm, or pairs_mm with the wide side first, and the instrument."""

    readings_mm: tuple[StrandMillimetres, ...] = ()
    pairs_mm: tuple[tuple[StrandMillimetres, StrandMillimetres], ...] = ()
    resolution_mm: Annotated[float, Quantity("mm", above=0, at_most=1)] = RESOLUTION_MM
    error_limit_mm: Annotated[float, Quantity("mm", at_least=0, at_most=1)] = ERROR_LIMIT_MM

    @property
    def readings(self) -> list[Reading]:
        """All of them, the single ones first."""
        return [*map(Reading, self.readings_mm), *(Reading(*pair) for pair in self.pairs_mm)]

    @property
    def micrometer(self) -> Micrometer:
        """The instrument."""
        return Micrometer(self.resolution_mm, self.error_limit_mm)


@frozen
class WindMeasurements:
    """A table [[wind]]: which wind, and what was measured of it. u are standard uncertainties.

    job: number in the ledger; file: the job file that was wound. turns: counted, by default what the ledger or
    the file says. length_m: of all strand wound, leader and tail included.
    """

    job: Annotated[int, Quantity("", at_least=1, at_most=2**30)] | None = None
    file: str = ""
    turns: Turns | None = None
    gross_mass_g: Grams | None = None
    empty_mass_g: EmptyGrams | None = None
    scale_u_g: Annotated[float, Quantity("g", above=0, at_most=1000)] = SCALE_U_G
    length_m: Metres | None = None
    length_u_m: Annotated[float, Quantity("m", above=0, at_most=1000)] | None = None
    layers: tuple[tuple[Layer, Millimetres], ...] = ()
    caliper_u_mm: Annotated[float, Quantity("mm", above=0, at_most=100)] = CALIPER_U_MM


@frozen
class Measurements:
    """Everything in a file of measurements."""

    micrometer: MicrometerReadings | None
    winds: tuple[WindMeasurements, ...]


def read_measurements(path: str | os.PathLike[str]) -> Measurements:
    """The measurements of a TOML file. Raises UsageError, and FileFaultsError with all faults at once."""
    faults: list[Fault] = []
    micrometer, winds = None, []
    for name, value in read_toml(path).items():
        if name == "micrometer" and isinstance(value, dict):
            micrometer = read_table(MicrometerReadings, value, name, faults)
        elif name == "wind" and isinstance(value, list) and all(isinstance(each, dict) for each in value):
            for number, table in enumerate(value, start=1):
                winds.append(read_table(WindMeasurements, table, f"wind {number}", faults))
        elif name in ("micrometer", "wind"):
            faults.append(Fault(name, f"write {'[micrometer]' if name == 'micrometer' else '[[wind]]'} over its keys"))
        else:
            known = near(name, ("micrometer", "wind")) or "; there are [micrometer] and [[wind]]"
            faults.append(Fault(printable(name), f"no such table{known}"))
    if not faults and micrometer is None and not winds:
        faults.append(Fault("TOML", "nothing was measured; give [micrometer] or [[wind]]"))
    if faults:
        raise FileFaultsError(str(path), faults)
    return Measurements(micrometer, tuple(winds))


def read_table(kind: Any, table: dict[str, object], name: str, faults: list[Fault]) -> Any:
    """The table as an object of `kind`, whose keys all have defaults; what is wrong goes to `faults`.

    name: of the table, to say where; empty for options of the command line.
    """
    where = f"{name}." if name else ""
    hints = get_type_hints(kind, include_extras=True)
    names = [field.name for field in fields(kind)]
    good = {}
    for key, value in table.items():
        if key not in names:
            known = near(key, names) or f"; there are {', '.join(names)}"
            faults.append(Fault(where + printable(key), f"no such key{known}"))
            continue
        try:
            good[key] = read_value(value, hints[key])
        except BadValueError as bad:
            faults += [
                Fault(where + key + place, sentence + _order(key, value, place)) for place, sentence in bad.faults
            ]
    return kind(**good)


def _order(key: str, value: object, place: str) -> str:
    """Which comes first, where a fault in a pair is that a layer and its outer diameter are exchanged."""
    pair = re.match(r"\[(\d+)\]\[0\]$", place) if key == "layers" else None
    entry: object = value[int(pair[1])] if pair and isinstance(value, list) else None
    if not isinstance(entry, list) or len(entry) != 2 or isinstance(entry[0], int) or not isinstance(entry[1], int):
        return ""
    right = f"[{shown(entry[1])}, {shown(entry[0])}]"
    return f"; the layer's number comes first, then the outer diameter in mm: {right}"
