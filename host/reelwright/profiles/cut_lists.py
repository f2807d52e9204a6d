"""A cut list from a file: the pay-off spools there are, the lengths wanted, and what holds for all of them.

    [strand], [machine], [lay]   as in a job file, for the whole list
    [take_up]                    likewise; a wanted length may have one of its own
    [cut]                        the rules, `winding.cut_list.CutRules`
    [[pay_off]]                  as [pay_off] of a job file, and `strand` where it is not the list's
    [[wanted]]                   `winding.cut_list.Wanted`, and `take_up`, `strand` where they are not the list's

`take_up` and `strand` are a profile's name or a table. Each entry is read as part of a job, so that ranges,
profiles and checks are those of a job file.
"""

from __future__ import annotations

import os
from collections import Counter
from itertools import count as count_from
from typing import TYPE_CHECKING

from attrs import evolve, fields_dict

from reelwright.errors import Fault, FileFaultsError
from reelwright.profiles.draft import Draft
from reelwright.profiles.jobs import PROFILE_KEYS, Tables, drafted, load_part, planned_job
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import closest, near, printable, shown
from reelwright.winding.cut_list import CutRules, Wanted
from reelwright.winding.cut_plan import CutList, PayOffSpool, WantedLength, strand_kind
from reelwright.winding.plan import make_plan
from reelwright.winding.source import check_source

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Sequence

    from reelwright.winding.job import Job, Strand

MOST_SPOOLS = 100
_COMMON = ("strand", "machine", "lay", "take_up")
_LISTS = ("pay_off", "wanted")
_TABLES = (*_COMMON, "cut", *_LISTS)
_OF_ITS_OWN = {"pay_off": ("strand",), "wanted": ("strand", "take_up")}
_WANTED_KEYS = (*fields_dict(Wanted), *_OF_ITS_OWN["wanted"])


def load_cut_list(path: str | os.PathLike[str]) -> CutList:
    """The cut list of a TOML file.

    Raises UsageError for a file that cannot be read and FileFaultsError with all its faults at once.
    """
    reading = _Reading(read_toml(path))
    cut_list = reading.cut_list()
    if cut_list is None:
        raise FileFaultsError(os.fspath(path), reading.all_faults())
    return cut_list


class _Reading:
    """The file on its way to a cut list, with every fault found on the way."""

    def __init__(self, given: dict[str, object]) -> None:
        self._own = Draft({})  # what a job file does not know
        self._faults: list[Fault] = []
        self._common = {name: value for name, value in given.items() if name in _COMMON}
        for name in given:
            if name not in _TABLES:
                sentence = f"no such table{near(name, _TABLES) or '; there are ' + ', '.join(_TABLES)}"
                self._own.fault(name, "", sentence)
        self._given = given
        self._rules = self._read_rules()

    def cut_list(self) -> CutList | None:
        """The list, or None where it has faults."""
        pay_offs = [self._pay_off(*entry) for entry in enumerate(self._entries("pay_off"))]
        wanted = [self._wanted(*entry) for entry in enumerate(self._entries("wanted"))]
        if not wanted:
            self._note(drafted(self._common | {"target": {"length_m": 1}}, {}), {})
        spools = [spool for spool in pay_offs if spool]
        lengths = [length for each in wanted if each for length in each]
        self._check_names(pay_offs)
        if len(lengths) > MOST_SPOOLS:
            self._own.fault("wanted", "", f"{len(lengths)} lengths are too many; give at most {MOST_SPOOLS}")
        if len(spools) == len(pay_offs):
            self._check_kinds(wanted, [spool.strand for spool in spools])
        if self.all_faults():
            return None
        return CutList(self._rules, tuple(spools), _told_apart(lengths))

    def all_faults(self) -> list[Fault]:
        """Every fault once, though each entry has looked at the tables of the whole list."""
        every = [*self._own.faults, *self._faults]
        return list({(fault.path, fault.message): fault for fault in every}.values())

    def _read_rules(self) -> CutRules:
        table = self._given.get("cut", {})
        if not isinstance(table, dict):
            self._own.fault("cut", "", f"{shown(table)} is not a table; write [cut] on a line of its own")
            table = {}
        return CutRules(**self._own.read_table("cut", CutRules, table))

    def _entries(self, name: str) -> list[dict[str, object]]:
        value = self._given.get(name, [])
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            self._own.fault(name, "", f"this is not a list of tables; write [[{name}]] in double brackets for each")
            return []
        if not value:
            self._own.fault(name, "", f"there is none; add at least one [[{name}]]")
        if len(value) > MOST_SPOOLS:
            self._own.fault(name, "", f"{len(value)} entries are too many; give at most {MOST_SPOOLS}")
        return [dict(each) for each in value]

    def _pay_off(self, position: int, entry: dict[str, object]) -> PayOffSpool | None:
        place = f"pay_off[{position}]"
        over = self._overrides(place, entry, _OF_ITS_OWN["pay_off"])
        common = {name: table for name, table in self._common.items() if name == "strand"}
        draft = drafted(common | {"pay_off": entry}, over, ("strand", "pay_off"))
        self._note(draft, {"pay_off": place, **_moved(place, over)})
        if draft.faults:
            return None
        pay_off, strand = draft.table("pay_off"), draft.table("strand")
        check = check_source(pay_off, strand, 0.0)
        if check is None:
            raise AssertionError("the checks of a job ask for what the check of a pay-off spool needs")
        return PayOffSpool(pay_off.name or f"pay-off {position + 1}", pay_off, strand, check)

    def _wanted(self, position: int, entry: dict[str, object]) -> list[WantedLength] | None:
        place = f"wanted[{position}]"
        over = self._overrides(place, entry, _OF_ITS_OWN["wanted"])
        before = len(self._own.faults)
        for key in [each for each in entry if each not in _WANTED_KEYS and not closest(each, fields_dict(Wanted))]:
            suggestion = near(key, _WANTED_KEYS) or f"; there are {', '.join(_WANTED_KEYS)}"
            self._own.fault(place, key, f"no such key{suggestion}")
            del entry[key]
        good = self._own.read_table(place, Wanted, entry)
        # a length that is missing or faulty must not hide what is wrong with spool and machine
        target = {"length_m": good.get("length_m", 1)}
        for key in ("leader_m", "tail_m"):
            target[key] = getattr(self._rules, key) if good.get(key) is None else good[key]
        draft = drafted(self._common | {"target": target}, over)
        job = planned_job(draft)
        self._note(draft, {"target": place, **_moved(place, over)})
        if job is None or len(self._own.faults) > before:
            return None
        blocking = [finding.message for finding in make_plan(job).findings if finding.blocks]
        if blocking:
            self._own.fault(place, "", f"this cannot be wound. {' '.join(blocking)}")
            return None
        return list(self._each(Wanted(**good), job, position))

    def _each(self, wanted: Wanted, job: Job, position: int) -> list[WantedLength]:
        name = wanted.name or job.take_up.name or f"length {position + 1}"
        joins = self._rules.most_joins if wanted.most_joins is None else wanted.most_joins
        return [WantedLength(name, job, joins)] * wanted.count

    def _overrides(self, place: str, entry: dict[str, object], names: tuple[str, ...]) -> Tables:
        """The tables that an entry has of its own, taken out of it."""
        over: Tables = {}
        for name in names:
            value = entry.pop(name, {})
            if isinstance(value, str):
                over[name] = {PROFILE_KEYS[name][0]: value}
            elif not isinstance(value, dict):
                self._own.fault(place, name, f"{shown(value)} is neither a profile's name in quotes nor a table")
            elif value:
                over[name] = value
        return over

    def _note(self, draft: Draft, moved: dict[str, str]) -> None:
        """Keep the faults of an entry, with their place in this file."""
        for fault in draft.faults:
            table, dot, key = fault.path.partition(".")
            self._faults.append(Fault(moved.get(table, table) + dot + key, fault.message))

    def _check_names(self, pay_offs: list[PayOffSpool | None]) -> None:
        first: dict[str, int] = {}
        for position, spool in enumerate(pay_offs):
            if spool and first.setdefault(spool.name.casefold(), position) != position:
                sentence = f'two spools are called "{printable(spool.name)}"; give each a name of its own, to tell them'
                self._own.fault(f"pay_off[{position}]", "name", f"{sentence} apart at the winder")

    def _check_kinds(self, wanted: list[list[WantedLength] | None], strands: list[Strand]) -> None:
        there = {strand_kind(strand): strand_text(strand) for strand in strands}
        for position, lengths in enumerate(wanted):
            if not lengths or not there or strand_kind(lengths[0].job.strand) in there:
                continue
            sentence = f"no pay-off spool holds {strand_text(lengths[0].job.strand)}; there are"
            self._own.fault(f"wanted[{position}]", "strand", f"{sentence} {', '.join(there.values())}")


def _told_apart(lengths: Sequence[WantedLength]) -> tuple[WantedLength, ...]:
    """The lengths, each with a take-up spool of its own name: those of one name are numbered, in the list's order."""
    counts = Counter(length.name.casefold() for length in lengths)
    taken = {name for name, count in counts.items() if count == 1}
    numbers: dict[str, Iterator[int]] = {}
    named = []
    for length in lengths:
        name, key = length.name, length.name.casefold()
        if counts[key] > 1:
            further = numbers.setdefault(key, count_from(1))
            name = next(each for number in further if (each := f"{length.name} {number}").casefold() not in taken)
            taken.add(name.casefold())
        take_up = evolve(length.job.take_up, name=name)
        named.append(evolve(length, name=name, job=evolve(length.job, take_up=take_up)))
    return tuple(named)


def strand_text(strand: Strand) -> str:
    """What makes a strand of one kind with another."""
    words = [strand.name, strand.material if strand.material != strand.name else "", f"{strand.diameter_mm:g} mm"]
    return printable(" ".join(word for word in words if word))


def further_spool_text(strand: Strand, length_m: float, name: str) -> str:
    """TOML of one more pay-off spool, to be added to a cut list: this strand, and what it must hold."""
    import tomlkit

    values: dict[str, object] = {"name": name, "held_m": round(length_m, 3), "held_u_m": 0}
    if _profile_kind(strand.name) == strand_kind(strand):
        values["strand"] = strand.name
    else:
        words = {"name": strand.name, "material": strand.material}
        values["strand"] = {key: word for key, word in words.items() if word} | {"diameter_mm": strand.diameter_mm}
    return tomlkit.dumps({"pay_off": [values]})


def _profile_kind(name: str) -> Hashable:
    try:
        return strand_kind(load_part("strand", name)) if name else None
    except FileFaultsError:
        return None


def _moved(place: str, over: Tables) -> dict[str, str]:
    return {name: f"{place}.{name}" for name in over}
