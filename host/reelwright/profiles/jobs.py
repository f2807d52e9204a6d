"""A job from a file, from flags, or from a file with flags laid over it."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from reelwright.errors import COMMAND_LINE, FileFaultsError
from reelwright.profiles.calibrations import (
    CALIBRATION,
    beside_calibration,
    let_go,
    take_over,
    without_calibration,
)
from reelwright.profiles.checks import check_plan, check_together
from reelwright.profiles.draft import TABLES, Draft, unknown_table
from reelwright.profiles.store import Profiles
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import printable, shown
from reelwright.winding.calibration_figures import LabelDensity
from reelwright.winding.job import DEFAULT_DENSITY_U_G_CM3, TARGET_KINDS, ImpossibleJobError, Job
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from reelwright.errors import Fault
    from reelwright.winding.job import Calibration, Lay, Strand

Tables = dict[str, dict[str, object]]

# table -> (key that names a profile, kind of profile)
PROFILE_KEYS = {
    "take_up": ("spool", "spool"),
    "pay_off": ("spool", "spool"),
    "strand": ("profile", "strand"),
    "machine": ("profile", "machine"),
}
# table -> key -> what that key ousts where it is given later: another way to say the same, or a detail of it
_OUSTS: dict[str, dict[str, tuple[str, ...]]] = {
    "target": dict.fromkeys(TARGET_KINDS, TARGET_KINDS),
    "machine": {
        "turns_per_layer": ("gears", "screw_turns_per_pass"),
        "gears": ("turns_per_layer",),
        "screw_turns_per_pass": ("turns_per_layer",),
        "spool_rpm": ("line_speed_m_s",),
        "line_speed_m_s": ("spool_rpm",),
    },
    "lay": {"rise": ("rise_u",)},
}
# what a spool profile says of a flange and of a barrel's spread is of no use on the pay-off side
_OF_STRAND = ("strand", "lay", CALIBRATION)  # the tables that a strand's profile fills
_OF_PAY_OFF = ("barrel_diameter_mm", "inside_width_mm", "empty_mass_g", "name")


def load_job(path: str | os.PathLike[str], overrides: Mapping[str, object] | None = None) -> Job:
    """The job of a TOML file, with the tables of `overrides` laid over the file's.

    Raises UsageError for a file that cannot be read and FileFaultsError with all its faults at once.
    """
    return _build(os.fspath(path), read_toml(path), overrides or {})


def build_job(overrides: Mapping[str, object], source: str = COMMAND_LINE) -> Job:
    """A job from tables alone, in the shape of a job file; `Job.to_dict()` is such a shape.

    source: what to call them in an error. Raises FileFaultsError.
    """
    return _build(source, overrides, {})


def is_job_file(name: str) -> bool:
    """Whether a machine is named by the job file that it stands in, and not by its profile."""
    return name.lower().endswith(".toml")


def load_part(table: str, name: str) -> Any:
    """One table of a job from the profile of that name alone: a TakeUp, Strand or Machine.

    table: "take_up", "strand" or "machine". Raises FileFaultsError.
    """
    return _draft_of_profile(table, name, (table,)).table(table)


def load_strand(name: str) -> tuple[Strand, Lay, Calibration | None]:
    """The strand of a profile, with the rise factor and the note of its calibration where it has one.

    Raises FileFaultsError.
    """
    draft = _draft_of_profile("strand", name, _OF_STRAND)
    note = draft.table(CALIBRATION) if CALIBRATION in draft.tables else None
    return draft.table("strand"), draft.table("lay"), note


def label_density(name: str) -> LabelDensity | None:
    """The density that a strand's profile gives without its calibration, by itself or by its material.

    None where it gives none. Raises FileFaultsError for a file that is broken.
    """
    profiles = Profiles()
    values = without_calibration(profiles.find("strand", name) or {})
    draft = Draft({"strand": values})
    kind, source = ("strand", name) if "density_g_cm3" in values else ("material", str(values.get("material", "")))
    _fill_density(draft, profiles)
    draft.read(("strand",))
    density, u = (draft.get("strand", key) for key in ("density_g_cm3", "density_u_g_cm3"))
    if density is None:
        return None
    return LabelDensity(density, DEFAULT_DENSITY_U_G_CM3 if u is None else u, _source(kind, source, profiles))


def strand_faults(name: str, values: Mapping[str, object]) -> list[Fault]:
    """What would keep every job from a strand's profile with these values; its calibration stands among them."""
    draft, profiles = Draft({"strand": {}}), Profiles()
    _fill_strand(draft, dict(values), name, profiles)
    _fill_density(draft, profiles)
    draft.read(_OF_STRAND)
    check_together(draft)
    return draft.faults


def _draft_of_profile(table: str, name: str, parts: tuple[str, ...]) -> Draft:
    draft = Draft({table: {PROFILE_KEYS[table][0]: name}})
    _fill_from_profiles(draft)
    draft.read(parts)
    if not draft.unresolved:
        check_together(draft)
    if draft.faults:
        raise FileFaultsError(COMMAND_LINE, draft.faults)
    return draft


def _build(source: str, base: Mapping[str, object], over: Mapping[str, object]) -> Job:
    draft = drafted(base, over)
    job = planned_job(draft)
    if job is None:
        raise FileFaultsError(source, draft.faults)
    return job


def drafted(base: Mapping[str, object], over: Mapping[str, object], names: Collection[str] = TABLES) -> Draft:
    """The tables with those of `over` laid over them, filled from profiles, and checked but for the plan.

    names: the tables that are read and must be there.
    """
    draft = Draft({})
    under = _tables(draft, base)
    draft.tables = _laid_over(under, _tables(draft, over))
    _fill_from_profiles(draft)
    draft.read(names)
    check_together(draft)
    return draft


def planned_job(draft: Draft) -> Job | None:
    """The job of a draft; None where it has faults, those that the plan shows among them."""
    if draft.faults:
        return None
    job = Job(**{name: draft.table(name) for name in TABLES if name in draft.tables or name == "lay"})
    try:
        check_plan(draft, make_plan(job))
    except ImpossibleJobError as impossible:
        draft.fault(*impossible.key.partition(".")[::2], impossible.message)
    return None if draft.faults else job


def _tables(draft: Draft, given: Mapping[str, object]) -> Tables:
    tables: Tables = {}
    for name, value in given.items():
        if name not in TABLES:
            draft.fault(name, "", unknown_table(name, value))
        elif isinstance(value, dict):
            tables[name] = dict(value)
        else:
            draft.fault(name, "", f"{shown(value)} is not a table; write [{name}] on a line of its own")
            tables[name] = {}
    return tables


def _laid_over(base: Tables, over: Tables) -> Tables:
    merged = {name: dict(table) for name, table in let_go(base, over).items()}
    for name, table in over.items():
        if name in PROFILE_KEYS and PROFILE_KEYS[name][0] in table:
            # a profile named later replaces the whole table, or its old values would go before the profile's
            merged[name] = dict(table)
            continue
        merged[name] = _without_rivals(name, merged.get(name, {}), table) | table
    return merged


def _without_rivals(name: str, base: dict[str, object], over: dict[str, object]) -> dict[str, object]:
    ousted = {rival for key, rivals in _OUSTS.get(name, {}).items() if key in over for rival in rivals}
    return {key: value for key, value in base.items() if key not in ousted}


def _fill_from_profiles(draft: Draft) -> None:
    profiles = Profiles()
    for name, (key, kind) in PROFILE_KEYS.items():
        table = draft.tables.get(name)
        if table is None or key not in table:
            continue
        wanted = table.pop(key)
        if not isinstance(wanted, str):
            draft.fault(name, key, f"{shown(wanted)} is not text; give the name of a {kind} profile in quotes")
            draft.unresolved.add(name)
            continue
        values = profiles.find(kind, wanted)
        if values is None:
            draft.fault(name, key, profiles.unknown(kind, wanted))
            draft.unresolved.add(name)
            values = {}
        elif name == "strand":
            _fill_strand(draft, values, wanted, profiles)
            continue
        elif name == "pay_off":
            values = {each: value for each, value in values.items() if each in _OF_PAY_OFF}
        _fill_from(draft, name, {"name": wanted} | values, _source(kind, wanted, profiles))
    _fill_density(draft, profiles)


def _fill_strand(draft: Draft, values: dict[str, object], name: str, profiles: Profiles) -> None:
    _take_calibration(draft, values, name, profiles)
    left = {"name": name} | beside_calibration(values, draft.tables)
    _fill_from(draft, "strand", left, _source("strand", name, profiles))


def _fill_from(draft: Draft, table: str, values: dict[str, object], source: str) -> None:
    draft.sources[table] = source
    _fill(draft, table, values, f" (from {source})")


def _source(kind: str, name: str, profiles: Profiles) -> str:
    """A profile and the person's file that it stands in, for a sentence on what is wrong with it."""
    path = profiles.own_file_of(kind, name)
    return f'the {kind} profile "{printable(name)}"' + (f" in {path}" if path else "")


def _take_calibration(draft: Draft, values: dict[str, object], strand: str, profiles: Profiles) -> None:
    calibration = values.get(CALIBRATION)
    if isinstance(calibration, dict):
        origin = f" (from the calibration of {_source('strand', strand, profiles)})"
        draft.origins |= dict.fromkeys(take_over(calibration, draft.tables, strand), origin)
    elif calibration is not None:
        draft.fault("strand", "profile", f'the calibration of "{printable(strand)}" is not a table; calibrate it again')


def _fill(draft: Draft, name: str, values: dict[str, object], origin: str) -> None:
    table = draft.tables[name]
    values = _without_rivals(name, values, table)
    for key, value in values.items():
        if key not in table:
            table[key] = value
            draft.origins[name, key] = origin


def _fill_density(draft: Draft, profiles: Profiles) -> None:
    """A known material gives the density that the strand does not."""
    strand = draft.tables.get("strand", {})
    material = strand.get("material")
    if not isinstance(material, str) or not material or "density_g_cm3" in strand:
        return
    known = profiles.find("material", material)
    if known:
        _fill(draft, "strand", known, f" (from {_source('material', material, profiles)})")
