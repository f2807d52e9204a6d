"""A job on its way from loose tables to checked ones, with every fault found on the way."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, get_type_hints

from attrs import NOTHING, fields

from reelwright.errors import Fault
from reelwright.profiles.values import BadValueError, closest, near, printable, read_value, shown
from reelwright.winding.job import TARGET_KINDS, Calibration, Lay, Machine, PayOff, Strand, TakeUp, Target

if TYPE_CHECKING:
    from collections.abc import Collection

TABLES: dict[str, type] = {
    "take_up": TakeUp,
    "pay_off": PayOff,
    "strand": Strand,
    "machine": Machine,
    "lay": Lay,
    "target": Target,
    "calibration": Calibration,
}
OPTIONAL_TABLES = ("pay_off", "lay", "calibration")


class Draft:
    """The tables as given, the values that passed, and the faults.

    A check asks for values by table and key. It gets None for what is missing or faulty, so that it speaks
    only of what was well given, and one fault does not breed others.
    """

    def __init__(self, tables: dict[str, dict[str, object]]) -> None:
        self.tables = tables
        self.faults: list[Fault] = []
        self.unresolved: set[str] = set()  # tables whose profile is not there
        self.origins: dict[tuple[str, str], str] = {}  # where a value comes from, if not from the job itself
        self.sources: dict[str, str] = {}  # table -> profile that it is filled from, in whose file a key may be missing
        self._good: dict[str, dict[str, Any]] = {}

    def fault(self, table: str, key: str, sentence: str) -> None:
        """Note a fault at table.key; key may carry a place inside the value, or be empty for the table."""
        origin = self.origins.get((table, key.partition("[")[0]), "")
        path = f"{printable(table)}.{printable(key)}" if key else printable(table)
        self.faults.append(Fault(path, sentence + origin))

    def given(self, table: str, key: str) -> bool:
        """Whether the job says anything there, right or wrong."""
        return key in self.tables.get(table, {})

    def get(self, table: str, key: str) -> Any:
        """The checked value or its default; None where it is missing or faulty."""
        return self._good.get(table, {}).get(key)

    def read(self, names: Collection[str] = tuple(TABLES)) -> None:
        """Check each value of these tables by itself."""
        for name in names:
            kind = TABLES[name]
            table = self.tables.get(name)
            if table is not None or name in OPTIONAL_TABLES:
                self._good[name] = self.read_table(name, kind, table or {})
            else:
                needed = [field.name for field in fields(kind) if field.default is NOTHING]
                self.fault(name, "", f"this table is missing; it needs {_needs(name, needed)}")

    def table(self, name: str) -> Any:
        """The table as an object of the model; only after a read without faults."""
        return TABLES[name](**self._good[name])

    def read_table(self, name: str, kind: type, table: dict[str, object]) -> dict[str, Any]:
        """The values of a table that pass by themselves; the rest are noted as faults. kind: an attrs class."""
        hints = _hints(kind)
        good = {}
        meant = set()
        for key in table:
            if key not in hints:
                meant.add(closest(key, list(hints)))
                self.fault(name, key, _unknown_key(name, key, list(hints)))
        for field in fields(kind):
            if field.name not in table:
                if field.default is not NOTHING:
                    good[field.name] = field.default
                elif name not in self.unresolved and field.name not in meant:
                    # a misspelt key, or a profile that is not there, is one fault and not two
                    has_none = f" ({self.sources[name]} has none)" if name in self.sources else ""
                    self.fault(name, field.name, f"this key is missing; add it{has_none}")
                continue
            try:
                good[field.name] = read_value(table[field.name], hints[field.name])
            except BadValueError as bad:
                for place, sentence in bad.faults:
                    self.fault(name, field.name + place, sentence)
        return good


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _unknown_key(name: str, key: str, known: list[str]) -> str:
    elsewhere = [other for other, kind in TABLES.items() if other != name and key in _hints(kind)]
    suggestion = near(key, known)
    if elsewhere and not suggestion:
        return f"no such key here; it belongs into [{elsewhere[0]}]"
    return f"no such key{suggestion}" if suggestion else f"no such key; there are {', '.join(known)}"


def _needs(name: str, needed: list[str]) -> str:
    if name == "target":
        return f"one of {', '.join(TARGET_KINDS)}"
    return ", ".join(needed)


def unknown_table(name: str, value: object) -> str:
    """A sentence on a table that a job does not have, or on a value outside any table."""
    holder = next((table for table, kind in TABLES.items() if name in _hints(kind)), None)
    if not isinstance(value, dict) and holder:
        return f"{shown(value)} stands outside any table; move it under [{holder}]"
    return f"no such table{near(name, TABLES) or '; there are ' + ', '.join(TABLES)}"
