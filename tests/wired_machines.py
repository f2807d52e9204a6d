"""The machine files that come along, their circuits, and ways through a net list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.profiles.toml_files import read_toml
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from collections.abc import Collection

    from wiring.circuit import Circuit

HARDWARE = Path(__file__).resolve().parents[1] / "hardware"
MACHINES = sorted((HARDWARE / "machines").glob("*.toml"))
every_machine = pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)


def profile(path: Path) -> dict[str, Any]:
    """The [machine.NAME] of a machine file, whose name is the file's."""
    return dict(read_toml(path)["machine"][path.stem])


def description(path: Path = HARDWARE / "machines" / "pico-dc.toml") -> dict[str, Any]:
    """All tables of a machine file, to be changed at will."""
    return read_toml(path)


def circuit(path: Path) -> Circuit:
    """The circuit of a machine file."""
    return circuit_of(read_toml(path), path.name)


with_motor = pytest.mark.parametrize(
    "path", [path for path in MACHINES if circuit(path).has_motor], ids=lambda path: path.stem
)


def joined_through(nets: dict[str, frozenset[str]], ref: str) -> set[str]:
    """The nets at both ends of a part."""
    return {net for net, terminals in nets.items() if terminals & {f"{ref}.1", f"{ref}.2"}}


def beyond(nets: Collection[frozenset[str]], start: str, *bridges: tuple[str, str]) -> set[str]:
    """All terminals met from one, through the parts named by their two terminals."""
    met, fresh = set(), {start}
    while fresh:
        met |= fresh
        nearby = {each for terminals in nets if terminals & fresh for each in terminals}
        nearby |= {two for one, two in bridges if one in met} | {one for one, two in bridges if two in met}
        fresh = nearby - met
    return met


# the two terminals of what lies between nets
FUSE, MAIN, STOP = ("F1.1", "F1.2"), ("K1.1", "K1.2"), ("S0.11", "S0.12")
START, HOLD, COIL = ("S1.1", "S1.2"), ("K1.13", "K1.14"), ("K1.A1", "K1.A2")
