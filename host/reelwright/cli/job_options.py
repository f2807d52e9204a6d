"""The options that build a job, or lay over one from a file. Shared by every command that takes a job."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from reelwright.cli.amounts import Gap, Length, Mass, Number, Rise
from reelwright.errors import COMMAND_LINE, Fault, FileFaultsError, UsageError
from reelwright.profiles import build_job, load_job, profile_names
from reelwright.winding.job import TARGET_KINDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from reelwright.winding.job import Job

Function = TypeVar("Function", bound="Callable[..., Any]")

# option -> (table and key of the job, what click needs)
_OPTIONS: dict[str, tuple[str, str, dict[str, Any]]] = {
    "--length": ("target", "length_m", {"type": Length(), "help": "Wind this length, such as 40m."}),
    "--mass": ("target", "mass_g", {"type": Mass(), "help": "Wind this mass, such as 250g."}),
    "--layers": ("target", "layers", {"type": Number(), "help": "Wind this many layers."}),
    "--turns": ("target", "turns", {"type": Number(), "help": "Wind this many turns."}),
    "--flange-margin": (
        "target",
        "flange_margin_mm",
        {"type": Gap(), "help": "Fill the spool and leave at least this much flange, such as 2mm."},
    ),
    "--leader": ("target", "leader_m", {"type": Length(), "help": "Strand wound first and not counted."}),
    "--tail": ("target", "tail_m", {"type": Length(), "help": "Strand wound last and not counted."}),
    "--pause-every-layer": ("target", "pause_every_layer", {"is_flag": True, "help": "Pause at each layer's end."}),
    "--pause-at-layer": (
        "target",
        "pause_at_layers",
        {"type": int, "multiple": True, "metavar": "LAYER", "help": "Pause at this layer's end; may be repeated."},
    ),
    "--mark": (
        "target",
        "marks_m",
        {"type": Length(), "multiple": True, "help": "Pause at this length; may be repeated."},
    ),
    "--spool": ("take_up", "spool", {"metavar": "NAME", "help": "Take-up spool by its profile's name, such as kilo."}),
    "--strand": ("strand", "profile", {"metavar": "NAME", "help": "Strand by its profile's name, such as pla-1.75."}),
    "--machine": ("machine", "profile", {"metavar": "NAME", "help": "Winder by its profile's name, such as bench-dc."}),
    "--rpm": (
        "machine",
        "spool_rpm",
        {"type": Number(), "help": "Spool speed to wind at, in turns a minute. Default: the winder's greatest."},
    ),
    "--line-speed": (
        "machine",
        "line_speed_m_s",
        {"type": Number(), "metavar": "M/S", "help": "Fastest speed of the strand, in metres a second."},
    ),
    "--phase-turns": (
        "machine",
        "phase_turns",
        {"type": Number(), "help": "Spool turns left to the guide's next reversal. Default: a whole layer."},
    ),
    "--rise": (
        "lay",
        "rise",
        {
            "type": Rise(),
            "help": "What a layer adds, in strand diameters: crossing, nested, stacked, or a measured factor.",
        },
    ),
}
_AMOUNTS = tuple(option for option, (_, key, _) in _OPTIONS.items() if key in TARGET_KINDS)
_NEEDED = {
    "--spool": "spool",
    "--strand": "strand",
    "--machine": "machine",
}  # without a file; option -> kind of profile


def job_options(function: Function) -> Function:
    """Add the optional argument JOB.toml, as `path`, and the job options to a command.

    The command passes its keyword arguments on: `resolve_job(path, options)`.
    """
    for option in reversed(_OPTIONS):
        function = click.option(option, default=None, **_OPTIONS[option][2])(function)
    return click.argument("path", metavar="[JOB.toml]", required=False)(function)


def resolve_job(path: str | None, options: dict[str, Any]) -> Job:
    """The job of the file with the options laid over it, or of the options alone.

    Raises UsageError or FileFaultsError with every fault at once.
    """
    tables: dict[str, dict[str, object]] = {}
    for option, (table, key, _) in _OPTIONS.items():
        value = options.get(option.strip("-").replace("-", "_"))
        # a flag or a list that was not given is empty, which leaves the file's word as it is
        if value is not None and value is not False and value != ():
            tables.setdefault(table, {})[key] = value
    _check_single_target(tables)
    with faults_named({f"{table}.{key}": option for table, key, option in _given(tables)}, path):
        if path is not None:
            return load_job(path, tables)
        _check_complete(tables)
        return build_job(tables)


@contextmanager
def faults_named(names: Mapping[str, str], path: str | None = None) -> Iterator[None]:
    """Faults of these values of a job are told by what the person typed: path of a value -> option or argument.

    path: of the job file that they were laid over. It is only blamed for faults that it has by itself.
    """
    try:
        yield
    except FileFaultsError as failure:
        faults = [Fault(names.get(fault.path.partition("[")[0], fault.path), fault.message) for fault in failure.faults]
        source = failure.source
        if all(fault.path in names.values() for fault in faults):
            source = COMMAND_LINE
        elif path is not None and source == path and names:
            alone = _faults_alone(path)
            if any((fault.path, fault.message) not in alone for fault in failure.faults):
                source = f"{path} with {' and '.join(names.values())} given beside it"
        raise FileFaultsError(source, faults) from None


def _faults_alone(path: str) -> set[tuple[str, str]]:
    """Place and sentence of each fault that a job file has without any option."""
    try:
        load_job(path)
    except FileFaultsError as failure:
        return {(fault.path, fault.message) for fault in failure.faults}
    return set()


def _given(tables: dict[str, dict[str, object]]) -> Iterator[tuple[str, str, str]]:
    """Table, key and option of each value that an option gives."""
    for option, (table, key, _) in _OPTIONS.items():
        if key in tables.get(table, {}):
            yield table, key, option


def _check_complete(tables: dict[str, dict[str, object]]) -> None:
    """Without a file the options must say it all."""
    missing = [option for option in _NEEDED if _OPTIONS[option][1] not in tables.get(_OPTIONS[option][0], {})]
    names = "; ".join(f"{option}: {', '.join(profile_names(_NEEDED[option]))}" for option in missing)
    if not any(_OPTIONS[option][1] in tables.get("target", {}) for option in _AMOUNTS):
        missing.append(f"one of {', '.join(_AMOUNTS)}")
    if missing:
        raise UsageError(
            f"Without a job file the options must say it all; missing: {', '.join(missing)}.",
            "Name a job file, or add them." + (f" There are: {names}." if names else ""),
        )


def _check_single_target(tables: dict[str, dict[str, object]]) -> None:
    given = [option for option in _AMOUNTS if _OPTIONS[option][1] in tables.get("target", {})]
    if len(given) > 1:
        raise UsageError(f"{' and '.join(given)} are given together.", "Keep one: it says how much to wind.")
