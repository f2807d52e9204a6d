"""`reelwright split`: which strand goes where, from part-used pay-off spools onto the lengths wanted."""

from __future__ import annotations

import os
import re
import shlex
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from reelwright.cli.amounts import FiniteRange
from reelwright.cli.for_scripts import AS_JSON
from reelwright.errors import ReelwrightError, UsageError
from reelwright.json_text import json_text
from reelwright.profiles.values import printable
from reelwright.views.quantities import names_of
from reelwright.winding.nouns import count_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from reelwright.winding.cut_list import Cutting
    from reelwright.winding.cut_plan import CutList, Step
    from reelwright.winding.cut_record import SolvedCutList
    from reelwright.winding.cut_shortage import FurtherSpool, Shortage

INSTRUCTIONS = "steps.txt"
EXTRA = ("scipy", "numpy")  # what the extra `split` brings along


@click.command("split")
@click.argument("path", metavar="LIST.toml")
@click.option(
    "--best-estimate",
    is_flag=True,
    help="Plan with the best estimate of what each pay-off spool holds, not with what is surely on it (k = 2). "
    "It may then run out while it is wound.",
)
@click.option(
    "--seconds",
    type=FiniteRange(0, 86_400, min_open=True),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="Time to look for the best; after it the best found is told, and that it is not proven.",
)
@AS_JSON
@click.option("-o", "--output", metavar="FOLDER", help="Write a job file for each step into FOLDER, new or empty.")
def command(path: str, best_estimate: bool, seconds: float, as_json: bool, output: str | None) -> None:
    """Split part-used pay-off spools into wanted lengths: fewest joins first, then least waste.

    LIST.toml has a table [[pay_off]] for each spool there is and [[wanted]] for each length; the README has one to
    copy. Waste is what is left on an opened spool where it is shorter than shortest_useful_m, and what the joins
    cost. Each wanted length is one step on one take-up spool, and one job file for `reelwright wind`.
    """
    from pathlib import Path as FilePath

    from reelwright.cli.output_folder import refuse_used
    from reelwright.profiles.cut_lists import load_cut_list
    from reelwright.winding.cut_plan import winding_steps
    from reelwright.winding.cut_record import SolvedCutList

    folder = None if output is None else FilePath(output)
    if folder is not None:
        refuse_used(folder)
    cut_list = load_cut_list(path)
    try:
        with _solver_aside():
            cutting = _cut(cut_list, best_estimate=best_estimate, seconds=seconds)
        solved = SolvedCutList(cut_list, cutting, winding_steps(cut_list, cutting), best_estimate)
        _refuse_unwindable(solved.steps)
        files = [] if folder is None else _write(solved, folder)
    except ModuleNotFoundError as missing:
        package = (missing.name or "").partition(".")[0]
        if package not in EXTRA:
            raise
        raise ReelwrightError(
            f"A cut list needs the extra `split`, of which {package} is not installed.",
            "In the project's folder: python -m pip install '.[split]'",
        ) from missing
    _tell(solved, folder, files, as_json=as_json)


@contextmanager
def _solver_aside() -> Iterator[None]:
    """Send to standard error what the solver's own code prints, as it does on some lists that run out of time."""
    import ctypes

    sys.stdout.flush()
    kept = os.dup(1)
    os.dup2(2, 1)
    try:
        yield
    finally:
        # in a pipe C keeps what it prints until the program's end, when the answer's place is its own again
        ctypes.CDLL("ucrtbase" if os.name == "nt" else None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)


def _cut(cut_list: CutList, *, best_estimate: bool, seconds: float) -> Cutting:
    from reelwright.winding.cut_solver import NoAnswerError, cut

    try:
        cutting = cut(cut_list.problem(best_estimate=best_estimate), seconds)
    except NoAnswerError:
        raise UsageError(
            f"No way to cut this list was found within {seconds:g} s, nor that there is none.",
            "Allow more with --seconds, or make two lists of it.",
        ) from None
    if cutting is None:
        raise _cannot_be_met(cut_list, best_estimate=best_estimate, seconds=seconds)
    return cutting


def _cannot_be_met(cut_list: CutList, *, best_estimate: bool, seconds: float) -> UsageError:
    from reelwright.views.cut_list import UNSURE
    from reelwright.winding.cut_shortage import shortage_of

    shortage = shortage_of(cut_list, best_estimate=best_estimate, seconds=seconds)
    told = ["This cut list cannot be met; nothing is written.", *_missing(cut_list, shortage)]
    if not best_estimate:
        told.append(f"Counted on: {_counted_on(cut_list)}. {UNSURE}")
    helps = []
    if shortage.best_estimate_meets:
        helps.append("--best-estimate, which meets it at the risk that a spool runs out while it is wound")
    if shortage.joins_needed:
        helps.append(f"most_joins = {shortage.joins_needed}, which meets it")
    if _guesses(cut_list):
        helps.append("weighing an empty spool of the kind, which tells better what it holds")
    helps.append("shorter or fewer lengths")
    for further in shortage.spools:
        helps.append(_further(further, is_only=len(shortage.spools) == 1, best_estimate=best_estimate))
    each = "" if len(shortage.spools) < 2 else " (of the further spools, all)"
    return UsageError("\n".join(told), f"One of these would help{each}:\n" + "\n".join(f"- {way}" for way in helps))


def _further(further: FurtherSpool, *, is_only: bool, best_estimate: bool) -> str:
    """What one more pay-off spool must hold, and its table for the list."""
    from reelwright.profiles.cut_lists import further_spool_text, strand_text

    strand = strand_text(further.strand)
    length = f"{'at least ' * further.is_least}{further.length_m:.3f} m"
    maybe = "" if further.is_least else "; less may do"
    name = "further spool" if is_only else f"further spool of {strand}"
    block = further_spool_text(further.strand, further.length_m, name)
    on_it = "on it (held_m" if best_estimate else "surely on it (held_m less 2 x held_u_m"
    told = f"one more pay-off spool, with {length} of {strand} {on_it}{maybe}):"
    return "\n    ".join([told, *block.splitlines()])


def _counted_on(cut_list: CutList) -> str:
    """How much of each pay-off spool is planned with, where that is not its best estimate."""
    return ", ".join(
        f"{printable(spool.name)} {cut_list.sure_mm(number) / 1000:.3f} m of {spool.held_mm / 1000:.3f} m"
        for number, spool in enumerate(cut_list.pay_offs)
    )


def _missing(cut_list: CutList, shortage: Shortage) -> Iterator[str]:
    """Which lengths stay short, a line each; those that get no strand at all in one line."""
    whole: dict[float, list[str]] = {}
    at_most = "" if shortage.proven else "at most "
    if shortage.missing:
        total = count_of(len(cut_list.wanted), "length")
        yield f"{at_most.capitalize()}{len(shortage.missing)} of its {total} cannot be wound whole:"
    for place, missing_m in shortage.missing.items():
        wanted = cut_list.wanted[place]
        length_m = wanted.job.target.length_m
        if length_m == missing_m:
            whole.setdefault(length_m, []).append(wanted.name)
        else:
            yield f"  {wanted.name}: {at_most}{missing_m:.3f} m missing of its {length_m:g} m"
    for length_m, names in whole.items():
        whom = f"it, {length_m:g} m" if len(names) == 1 else f"them, {length_m:g} m each"
        yield f"  {names_of(names)}: no strand is left for {whom}"


def _guesses(cut_list: CutList) -> bool:
    return any(spool.check.unknown_tare_m for spool in cut_list.pay_offs)


def _refuse_unwindable(steps: tuple[Step, ...]) -> None:
    """Raises UsageError where a step cannot be wound as it is."""
    from reelwright.winding.cut_plan import joins_apart

    for step in steps:
        if not joins_apart(step):
            raise UsageError(
                f"The joins of {step.name} lie so close together that the winder cannot pause at each.",
                "Raise cut.shortest_piece_m, or fit a sensor with more pulses.",
            )
        blocking = [finding.message for finding in step.plan.findings if finding.blocks]
        if blocking:
            raise UsageError(f"{step.name} cannot be wound. {' '.join(blocking)}", "Change the list.")


def _write(solved: SolvedCutList, folder: Path) -> list[str]:
    """Write a job file for each step and the instructions; the names of the job files."""
    from reelwright.cli.output_folder import write_folder
    from reelwright.profiles import load_job
    from reelwright.profiles.job_text import job_text
    from reelwright.views.cut_list import cut_list_text, step_lines

    total = len(solved.steps)
    texts = {}
    for number, step in enumerate(solved.steps):
        head = f"Step {number + 1} of {total} of a cut list, written by reelwright split."
        texts[_file_name(number + 1, total, step.name)] = job_text(step.job, [head, *step_lines(solved, number)])

    def check(unfinished: Path) -> None:
        for name, step in zip(texts, solved.steps, strict=True):
            if load_job(unfinished / name) != step.job:
                raise AssertionError(f"{name} does not read back as it was meant")

    write_folder(folder, texts | {INSTRUCTIONS: cut_list_text(solved)}, check)
    return list(texts)


def _file_name(number: int, total: int, name: str) -> str:
    """Such as 03-kit-2.toml: names in the order of winding, safe on every file system."""
    words = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "length"
    return f"{number:0{max(len(str(total)), 2)}d}-{words}.toml"


def _tell(solved: SolvedCutList, folder: Path | None, files: list[str], *, as_json: bool) -> None:
    if as_json:
        record = solved.to_dict() | {"files": [str(folder / name) for name in files] if folder else []}
        click.echo(json_text(record))
        return
    from reelwright.views.cut_list import terminal_text

    click.echo(terminal_text(solved), nl=False)
    if folder is not None:
        click.echo(f"Written to {folder}, with these lines in {INSTRUCTIONS}. Wind in this order:")
        for name in files:
            click.echo(f"  {shlex.join(['reelwright', 'wind', str(folder / name)])}")
