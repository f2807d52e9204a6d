"""The dimensions of all printable parts, read from one TOML file and checked together."""

from __future__ import annotations

import os
from math import degrees
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

from attrs import NOTHING, fields, fields_dict, frozen, has

from parts.bracket import SensorBracket, sensor_bracket_solid
from parts.carriage import Carriage, cap_solid, carriage_solid
from parts.discs import MagnetDisc, SlotDisc, magnet_disc_solid, slot_disc_solid
from parts.follower import Follower  # noqa: TC001 - read at run time
from parts.groove import Groove  # noqa: TC001 - read at run time
from parts.screw import ScrewBody, follower_solid, running_play_mm, self_reversing_screw
from parts.sensing import LightBarrier  # noqa: TC001 - read at run time
from parts.solid import measured
from parts.wheel import MeasuringWheel, measuring_wheel_solid
from reelwright.errors import Fault, FileFaultsError
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import BadValueError, near, printable, read_value
from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from manifold3d import Manifold

    from parts.solid import Measures

# Two lines of a 0.4 mm nozzle: common practice for the least that prints as a wall.
LEAST_PRINTED_WALL_MM = 0.8
# A tenth of a millimetre: common practice for printed parts that slide.
LEAST_RUNNING_PLAY_MM = 0.1
_RUN_POSITIONS = 48
# Corners nearer than a micrometre are one: no printer shows them, and a file of triangles may not tell them apart.
_TOLERANCE_MM = 1e-3


@frozen
class Design:
    """Every part's dimensions. strand_diameter_mm: of the strand that the measuring wheel's groove must hold."""

    strand_diameter_mm: Annotated[float, Quantity("mm", at_least=0.5, at_most=5)]
    groove: Groove
    screw: ScrewBody
    follower: Follower
    carriage: Carriage
    light_barrier: LightBarrier
    slot_disc: SlotDisc
    magnet_disc: MagnetDisc
    measuring_wheel: MeasuringWheel
    sensor_bracket: SensorBracket

    def faults(self) -> dict[str, list[Fault]]:
        """What does not go together: by table. A broken groove says nothing of the follower."""
        groove = self.groove.faults()
        on_it = not groove
        return {
            "groove": groove,
            "screw": self.screw.faults(self.groove),
            "follower": self.follower.faults(self.groove) if on_it else [],
            "carriage": self.carriage.faults(self.groove, self.follower),
            "light_barrier": self.light_barrier.faults(),
            "slot_disc": self.slot_disc.faults(self.light_barrier),
            "magnet_disc": self.magnet_disc.faults(),
            "measuring_wheel": self.measuring_wheel.faults(self.strand_diameter_mm, self.light_barrier),
            "sensor_bracket": self.sensor_bracket.faults(),
        }


def load_design(path: str | os.PathLike[str]) -> Design:
    """The design in a file. Raises UsageError where it cannot be read, FileFaultsError with all its faults at once."""
    faults: list[Fault] = []
    design: Design | None = _read_table(read_toml(path), Design, "", faults)
    if design is not None:
        for table, found in design.faults().items():
            faults += [Fault(f"{table}.{fault.path}", fault.message) for fault in found]
    if faults or design is None:
        raise FileFaultsError(os.fspath(path), faults)
    return design


def solids(design: Design, *, step_deg: float = 3.0) -> dict[str, Manifold]:
    """Every part by its file's name. step_deg: fineness of the screw, degrees a facet."""
    groove, follower, carriage = design.groove, design.follower, design.carriage
    pin_mm = carriage.pin_length_mm(groove, follower)
    parts = {
        "self_reversing_screw": self_reversing_screw(groove, design.screw, step_deg=step_deg),
        "follower": follower_solid(groove, follower, pin_mm),
        "carriage": carriage_solid(groove, follower, carriage),
        "carriage_cap": cap_solid(groove, follower, carriage),
        "slot_disc": slot_disc_solid(design.slot_disc),
        "magnet_disc": magnet_disc_solid(design.magnet_disc),
        "measuring_wheel": measuring_wheel_solid(design.measuring_wheel),
        "sensor_bracket": sensor_bracket_solid(design.sensor_bracket),
    }
    return {name: part.simplify(_TOLERANCE_MM) for name, part in parts.items()}


def unfit(design: Design, made: dict[str, Manifold]) -> tuple[dict[str, Measures], list[str]]:
    """The parts' measures, and a sentence for each that cannot be printed or does not run."""
    measures = {name: measured(part) for name, part in made.items()}
    sentences = []
    for name, found in measures.items():
        if not found.watertight or found.volume_mm3 <= 0:
            sentences.append(f"{name}: its surface is not closed; the dimensions contradict one another")
        if found.pieces != 1:
            sentences.append(f"{name}: falls into {found.pieces} pieces; the dimensions contradict one another")
        if found.least_wall_mm is not None and found.least_wall_mm < LEAST_PRINTED_WALL_MM:
            sentences.append(
                f"{name}: a wall of {found.least_wall_mm:.2f} mm; at least {LEAST_PRINTED_WALL_MM:g} mm prints soundly"
            )
    plays = running_play_mm(
        design.groove, design.screw, made["follower"], made["self_reversing_screw"], positions=_RUN_POSITIONS
    )
    angle, play_mm = min(plays, key=lambda pair: pair[1])
    if play_mm < LEAST_RUNNING_PLAY_MM:
        sentences.append(
            f"follower: {play_mm:.2f} mm of play in the groove {degrees(angle):.0f} deg from the first turning point; "
            f"at least {LEAST_RUNNING_PLAY_MM:g} mm runs free: raise side_play_mm or root_play_mm, or narrow the tips"
        )
    return measures, sentences


def _read_table(given: dict[str, object], kind: type, place: str, faults: list[Fault]) -> Any:
    """An instance of an attrs class from a table; None where it has faults, which are noted."""
    hints, known = get_type_hints(kind, include_extras=True), fields_dict(kind)
    values: dict[str, Any] = {}
    before = len(faults)
    for key in given:
        if key not in known:
            sentence = f"no such key{near(key, known) or '; there are ' + ', '.join(known)}"
            faults.append(Fault(f"{place}{printable(key)}", sentence))
    for field in fields(kind):
        path = f"{place}{field.name}"
        if field.name not in given:
            if field.default is NOTHING:
                faults.append(Fault(path, "this key is missing"))
            continue
        value = given[field.name]
        if has(hints[field.name]):
            if isinstance(value, dict):
                values[field.name] = _read_table(value, hints[field.name], f"{path}.", faults)
            else:
                faults.append(Fault(path, f"write a table [{path}]"))
            continue
        try:
            values[field.name] = read_value(value, hints[field.name])
        except BadValueError as bad:
            faults += [Fault(f"{path}{inside}", sentence) for inside, sentence in bad.faults]
    return None if len(faults) > before else kind(**values)
