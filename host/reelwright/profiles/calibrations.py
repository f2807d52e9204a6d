"""Calibrations of strand in profiles: how a job takes one over, lets go of one, and how one is written down.

A strand's profile carries the one in force as [strand.NAME.calibration], and those before it as
[[strand.NAME.earlier]], the newest last.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from reelwright.errors import UsageError
from reelwright.profiles.store import Profiles, own_folder
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import printable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reelwright.winding.calibration_evidence import Kept

CALIBRATION, EARLIER = "calibration", "earlier"
NEW_FILE = "strand.toml"
_LONGEST_NAME = 100
_IN_NAME = " ._+-"  # beside letters and digits: what needs no escape on a command line, in a file or in a label

# figure -> (table of the job, keys of the calibration that go there, further keys by which a job speaks of it)
_OF_FIGURE: dict[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = {
    "diameter": ("strand", ("diameter_mm", "second_diameter_mm", "diameter_u_mm"), ()),
    "rise": ("lay", ("rise", "rise_u"), ()),
    "density": ("strand", ("density_g_cm3", "density_u_g_cm3"), ("material",)),
}
_VALUES = tuple(key for _, keys, _ in _OF_FIGURE.values() for key in keys)
_INPUTS = "inputs"  # what it rests on, in words
_FOR_PEOPLE = (_INPUTS,)


def take_over(
    calibration: Mapping[str, object], tables: dict[str, dict[str, object]], strand: str
) -> list[tuple[str, str]]:
    """Put a profile's calibration into a job's tables where the job does not say otherwise.

    Returns the table and key of each value put there. A figure of which the job says anything itself stays
    the job's; a job that has its own [calibration] takes none over.
    """
    if CALIBRATION in tables:
        return []
    taken: list[tuple[str, str]] = []
    figures = []
    for figure, (name, keys, further) in _OF_FIGURE.items():
        table = tables.setdefault(name, {})
        if keys[0] not in calibration or any(key in table for key in (*keys, *further)):
            continue
        figures.append(figure)
        for key in keys:
            if key in calibration:
                table[key] = calibration[key]
                taken.append((name, key))
    if figures:
        about = {key: value for key, value in calibration.items() if key not in (*_VALUES, *_FOR_PEOPLE)}
        tables[CALIBRATION] = about | {"strand": strand, "figures": figures}
        taken += [(CALIBRATION, key) for key in about]
    return taken


def kept_evidence(name: str) -> list[Kept]:
    """What the figures in force of a strand's profile rest on, each with the date when it was first stored.

    Empty where there is no such profile, or it was never calibrated.
    """
    from reelwright.winding.calibration_evidence import Kept  # not paid for by a plan

    values = Profiles().find("strand", name) or {}
    calibration, earlier = values.get(CALIBRATION), values.get(EARLIER)
    entries = [*(earlier if isinstance(earlier, list) else []), calibration]
    since: dict[str, str] = {}
    for entry in entries:
        for line in _inputs(entry):
            since.setdefault(line, str(entry.get("date", "")))
    return [Kept(line, name, since[line]) for line in _inputs(calibration)]


def _inputs(entry: object) -> list[str]:
    inputs = entry.get(_INPUTS) if isinstance(entry, dict) else None
    return [line for line in inputs if isinstance(line, str)] if isinstance(inputs, list) else []


def without_calibration(values: Mapping[str, object]) -> dict[str, object]:
    """A strand profile's values as its label has them."""
    return {key: value for key, value in values.items() if key not in (CALIBRATION, EARLIER)}


def beside_calibration(values: Mapping[str, object], tables: Mapping[str, Mapping[str, object]]) -> dict[str, object]:
    """What a strand's label still says to a job that has taken over its calibration: nothing of those figures."""
    taken = _figures(tables.get(CALIBRATION))
    better = [key for figure in taken for key in _OF_FIGURE[figure][1]]
    return {key: value for key, value in without_calibration(values).items() if key not in better}


def let_go(
    base: dict[str, dict[str, object]], over: Mapping[str, Mapping[str, object]]
) -> dict[str, dict[str, object]]:
    """A job's tables without the calibrated figures that `over` replaces."""
    note = base.get(CALIBRATION)
    figures = _figures(note)
    if note is None or not figures:
        return base
    kept = {name: dict(table) for name, table in base.items()}
    gone = []
    for figure in figures:
        name, keys, further = _OF_FIGURE[figure]
        if "profile" in over.get("strand", {}) or any(key in over.get(name, {}) for key in (*keys, *further)):
            kept[name] = {key: value for key, value in kept.get(name, {}).items() if key not in keys}
            gone.append(figure)
    left = [each for each in _named(note) if each not in gone]
    if left:
        kept[CALIBRATION] = note | {"figures": left}
    else:
        del kept[CALIBRATION]
    return kept


def _named(note: Mapping[str, object]) -> Sequence[object]:
    named = note.get("figures")
    return named if isinstance(named, list | tuple) else ()


def _figures(note: Mapping[str, object] | None) -> list[str]:
    """The figures that a job's note names; what is no figure is told by whoever reads the note."""
    return [figure for figure in _OF_FIGURE if note and figure in _named(note)]


def check_name(name: str) -> None:
    """Refuse what a new strand profile may not be called; one that the person's files have already may stay so.

    Raises UsageError with the rule, and whatever reading the person's files raises.
    """
    known = all(each.isalnum() or each in _IN_NAME for each in name)
    if known and name and len(name) <= _LONGEST_NAME and name[0].isalnum() and name[-1].isalnum():
        return
    if Profiles().own_file_of("strand", name) is None:
        raise UsageError(
            f'"{printable(name)}" is no name for a profile.',
            f"Take 1 to {_LONGEST_NAME} letters, digits, spaces and . _ + -, with a letter or digit first and last.",
        )


def with_calibration(name: str, calibration: Mapping[str, object], strand: Mapping[str, object]) -> tuple[Path, str]:
    """The person's profile file with the strand's new calibration, and where it belongs; nothing is written.

    The file's comments and everything else in it stay. The calibration before becomes history. strand: the
    values of a profile that is not there yet. Raises UsageError for a name that cannot be one, or a file that is
    written in too unusual a way, and whatever reading the person's files raises.
    """
    import tomlkit  # a tenth of a second, and only to save

    check_name(name)
    path = Profiles().own_file_of("strand", name) or own_folder() / NEW_FILE
    tables: dict[str, Any] = read_toml(path) if path.exists() else {}
    strands = tables.setdefault("strand", {})
    written = next((key for key in strands if key.casefold() == name.casefold()), name)
    document = tomlkit.parse(path.read_text(encoding="utf-8-sig") if path.exists() else "")
    try:
        _add(document, written, calibration, strand)
        text = tomlkit.dumps(document).rstrip() + "\n"
        after = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, TypeError):
        after = {}
    # the writer of TOML is trusted with the person's file only as far as its text reads back
    entry = after.get("strand", {}).get(written, {})
    strands.setdefault(written, entry)
    if _without(after, written) != _without(tables, written) or CALIBRATION not in entry:
        raise UsageError(
            f"{path} is written in a way that a calibration cannot be added to.",
            f'Give the strand a table of its own, [strand."{printable(written)}"], and calibrate again.',
        )
    return path, text


def _add(document: Any, name: str, calibration: Mapping[str, object], strand: Mapping[str, object]) -> None:
    import tomlkit

    strands = document.setdefault("strand", tomlkit.table(is_super_table=True))
    if name not in strands:
        strands[name] = _table(strand)
    entry = strands[name]
    if CALIBRATION in entry:
        if EARLIER not in entry:
            entry[EARLIER] = tomlkit.aot()
        entry[EARLIER].append(_table(entry[CALIBRATION].unwrap()))
        del entry[CALIBRATION]
    entry[CALIBRATION] = _table(calibration)


def _without(tables: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The tables without a strand's calibrations, which alone may change."""
    strands = {key: dict(values) for key, values in tables.get("strand", {}).items()}
    strands[name] = {key: value for key, value in strands.get(name, {}).items() if key not in (CALIBRATION, EARLIER)}
    return {**tables, "strand": strands}


def _table(values: Mapping[str, object]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        table.append(key, float(value) if isinstance(value, Decimal) else value)
    return table
