"""The options of `reelwright gears`: each read from its text, and every fault told at once."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any, TypeVar, get_args

import click

from reelwright.cli.amounts import LENGTH_UNITS, parse_amount, parse_number
from reelwright.cli.for_scripts import JSON_HELP
from reelwright.errors import COMMAND_LINE, Fault, FileFaultsError
from reelwright.profiles.values import shown
from reelwright.winding.gear_teeth import ToothForm
from reelwright.winding.job import Machine, Millimetres, Strand, Teeth
from reelwright.winding.quantities import Quantity, quantity_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.winding.gears import Stages

Function = TypeVar("Function", bound="Callable[..., Any]")
Number = TypeVar("Number", int, Fraction)

_STAGE = re.compile(r"(-?\d{1,9})\s*:\s*(-?\d{1,9})", re.ASCII)
_WHOLE = re.compile(r"-?\d{1,9}", re.ASCII)

# option -> what click needs. All arrive as text: a slip in one must not hide those in others.
_SHARED: dict[str, dict[str, Any]] = {
    "--machine": {
        "metavar": "NAME|JOB.toml",
        "help": "Winder by its profile's name, such as bench-dc, or that of a job file: its gears, screw and stroke.",
    },
    "--spool": {
        "metavar": "NAME",
        "help": "Take-up spool by its profile's name, such as kilo: strand and stroke fill its width.",
    },
    "--stroke": {
        "metavar": "LENGTH",
        "help": "Way of the guide, between the outermost strand centres, such as 61.25mm.",
    },
    "--screw-turns": {"metavar": "NUMBER", "help": "Turns of the screw that carry the guide across once."},
    "--dwell-turns": {
        "metavar": "NUMBER",
        "help": "Spool turns of each layer during which the guide stands at a flange.",
    },
    "--module": {
        "metavar": "MM",
        "default": "1",
        "show_default": True,
        "help": "Size of the teeth, the normal module.",
    },
    "--pressure-angle": {
        "metavar": "DEGREES",
        "default": "20",
        "show_default": True,
        "help": "Of the teeth, in the normal section.",
    },
    "--helix-angle": {
        "metavar": "DEGREES",
        "default": "0",
        "show_default": True,
        "help": "Of the teeth; 0 is a spur gear.",
    },
    "--herringbone": {"is_flag": True, "help": "Each gear has two halves of mirrored helix."},
    "--json": {"is_flag": True, "help": JSON_HELP},
}
_CHECK: dict[str, dict[str, Any]] = {
    "--gears": {
        "metavar": "TRAIN",
        "help": "Teeth as driver:driven, stage by stage from spool to screw, such as 20:36,18:30.",
    },
    "--strand": {
        "metavar": "NAME",
        "multiple": True,
        "help": "Strand by its profile's name, such as pla-1.75; may be repeated.",
    },
    "--diameter": {
        "metavar": "LENGTH",
        "multiple": True,
        "help": "Strand of this diameter, such as 1.75mm; may be repeated.",
    },
    "--coaxial": {"is_flag": True, "help": "Warn unless the screw's shaft can stand on the spool's axis."},
}
_FIND: dict[str, dict[str, Any]] = {
    "--pitch": {
        "metavar": "LENGTH",
        "help": "Wanted lay pitch. Default: the strand's diameter and twice its uncertainty.",
    },
    "--strand": {"metavar": "NAME", "help": "Strand by its profile's name, such as pla-1.75."},
    "--diameter": {"metavar": "LENGTH", "help": "Strand of this diameter, such as 1.75mm."},
    "--stages": {"metavar": "NUMBER", "default": "2", "show_default": True, "help": "Most stages, 1 to 3."},
    "--least-teeth": {"metavar": "TEETH", "help": "Of the smallest gear. Default: the fewest without undercut."},
    "--most-teeth": {"metavar": "TEETH", "default": "80", "show_default": True, "help": "Of the largest gear."},
    "--have": {"metavar": "TEETH,...", "help": "Only gears at hand, each used once, such as 18,19,30,45,76,77."},
    "--coaxial": {
        "is_flag": True,
        "help": "Only two stages of equal centre distance: the screw can stand on the spool's axis.",
    },
    "--tolerance": {
        "metavar": "PERCENT",
        "default": "1",
        "show_default": True,
        "help": "Greatest pitch error, in percent of the pitch.",
    },
    "--limit": {"metavar": "NUMBER", "default": "10", "show_default": True, "help": "Trains to show, at most 100."},
}


def check_options(function: Function) -> Function:
    """Add the options of `check`, which arrive as keyword arguments, and the optional JOB.toml as `path`."""
    return _with_options(function, _CHECK | _SHARED)


def find_options(function: Function) -> Function:
    """Add the options of `find`, likewise."""
    return _with_options(function, _FIND | _SHARED)


def _with_options(function: Function, options: dict[str, dict[str, Any]]) -> Function:
    for option in reversed(options):
        function = click.option(option, **options[option])(function)
    return click.argument("path", metavar="[JOB.toml]", required=False)(function)


_LENGTH = next(note for note in get_args(Millimetres) if isinstance(note, Quantity))
_TEETH = next(note for note in get_args(Teeth) if isinstance(note, Quantity))
_DWELL = Quantity("turns", at_least=0, at_most=10_000)
MOST_TOLERANCE = Fraction(1, 2)  # of the wanted pitch
_TOLERANCE = Quantity("percent", at_least=0, at_most=int(100 * MOST_TOLERANCE))
_SHOWN = Quantity("trains", at_least=1, at_most=100)


class GivenOptions:
    """The options as given. Each method reads one, and notes what is wrong with it; `settle` tells all at once."""

    def __init__(self, options: dict[str, Any]) -> None:
        self._options = options
        self.faults: list[Fault] = []

    def text(self, option: str) -> Any:
        """The option as click hands it over."""
        return self._options[option.strip("-").replace("-", "_")]

    def fault(self, option: str, sentence: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(option, sentence))

    def faulty(self, option: str) -> bool:
        """Whether a fault of this option has been noted, so that none need follow from it."""
        return any(fault.path.split()[0] == option for fault in self.faults)

    def settle(self) -> None:
        """Raises FileFaultsError if anything was wrong."""
        if self.faults:
            raise FileFaultsError(COMMAND_LINE, self.faults)

    def length_mm(self, option: str, quantity: Quantity = _LENGTH) -> Fraction | None:
        """A length with its unit, in mm; None where it is not given, or faulty."""
        text = self.text(option)
        return None if text is None else self._length(option, text, quantity)

    def diameters_mm(self) -> list[Fraction]:
        """Strand diameters, however many the command takes."""
        given = self.text("--diameter")
        texts = [] if given is None else [given] if isinstance(given, str) else given
        read = [self._length("--diameter", text, quantity_of(Strand, "diameter_mm")) for text in texts]
        return [diameter for diameter in read if diameter is not None]

    def screw_turns(self) -> Fraction | None:
        """Turns of the screw per pass."""
        return self.number("--screw-turns", quantity_of(Machine, "screw_turns_per_pass"))

    def dwell_turns(self) -> Fraction | None:
        """Spool turns of a layer in which the guide stands."""
        return self.number("--dwell-turns", _DWELL)

    def tolerance(self) -> Fraction:
        """The greatest pitch error, as a share."""
        return (self.number("--tolerance", _TOLERANCE) or Fraction(0)) / 100

    def shown(self) -> int:
        """How many trains to show."""
        return self.whole("--limit", _SHOWN) or 1

    def number(self, option: str, quantity: Quantity) -> Fraction | None:
        """A plain number or fraction, exactly."""
        text = self.text(option)
        if text is None:
            return None
        try:
            value = parse_number(text)
        except ValueError as refusal:
            self.fault(option, f"{refusal}, {quantity.range_text()}")
            return None
        return self._within(option, text, value, quantity)

    def whole(self, option: str, quantity: Quantity | None = None) -> int | None:
        """A whole number, which may be negative: the range is for others to judge where there is no quantity."""
        text = self.text(option)
        if text is None:
            return None
        if not _WHOLE.fullmatch(text.strip()):
            self.fault(option, f"{shown(text)} is no whole number; write one such as 18")
            return None
        value = int(text)
        return value if quantity is None else self._within(option, text, value, quantity)

    def train(self, option: str) -> Stages | None:
        """A train such as 20:36,18:30."""
        text = self.text(option)
        if text is None:
            return None
        stages = []
        for part in text.split(","):
            match = _STAGE.fullmatch(part.strip())
            if match is None:
                self.fault(option, f"{shown(part)} is no stage; write driver:driven, such as 20:36,18:30")
                continue
            teeth = [self._within(option, each, int(each), _TEETH) for each in match.groups()]
            if None not in teeth:
                stages.append((int(match[1]), int(match[2])))
        return tuple(stages)

    def teeth_list(self, option: str) -> tuple[int, ...]:
        """Numbers of teeth such as 12,20,30; empty where not given."""
        text = self.text(option)
        if text is None:
            return ()
        teeth = []
        for part in text.split(","):
            if _WHOLE.fullmatch(part.strip()):
                teeth.append(self._within(option, part, int(part), _TEETH))
            else:
                self.fault(option, f"{shown(part)} is no number of teeth; write them such as 12,20,30")
        return tuple(each for each in teeth if each is not None)

    def tooth_form(self) -> ToothForm:
        """Module, angles and kind; the default form where one is faulty."""
        read = {
            key: self.number(option, quantity_of(ToothForm, key))
            for option, key in (
                ("--module", "module_mm"),
                ("--pressure-angle", "pressure_angle_deg"),
                ("--helix-angle", "helix_angle_deg"),
            )
        }
        herringbone = bool(self.text("--herringbone"))
        if herringbone and read["helix_angle_deg"] == 0:
            self.fault("--herringbone", "halves of a herringbone gear have a helix; give --helix-angle too, such as 30")
        good = {key: float(value) for key, value in read.items() if value is not None}
        return ToothForm(herringbone=herringbone, **good)

    def _length(self, option: str, text: str, quantity: Quantity) -> Fraction | None:
        try:
            length_mm = 1000 * parse_amount(text, LENGTH_UNITS, "length", "mm")
        except ValueError as refusal:
            self.fault(option, str(refusal))
            return None
        return self._within(option, text, length_mm, quantity)

    def _within(self, option: str, text: str, value: Number, quantity: Quantity) -> Number | None:
        if quantity.allows(value):
            return value
        self.fault(option, f"{text.strip()} is out of range; give {quantity.range_text()}")
        return None
