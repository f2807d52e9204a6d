"""A solved cut list for a person: what each pay-off spool gives, and what to do at the winder, step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

from reelwright.views.page import plain_page, terminal_page
from reelwright.views.quantities import names_of, turns_text, with_uncertainty
from reelwright.views.tables import Column, FigureTable
from reelwright.views.untrusted import plain_text
from reelwright.winding.nouns import count_of
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from rich.console import Console

    from reelwright.winding.cut_plan import Step
    from reelwright.winding.cut_record import SolvedCutList

UNSURE = "Neither what a spool holds nor what a wind takes is exactly known."
SURE = f"Planned with what can surely be counted off each pay-off spool (k = {COVERAGE}, about 95 %). {UNSURE}"
BEST_ESTIMATE = "Planned with the best estimate of what each pay-off spool holds: one may run out while it is wound."


def terminal_text(solved: SolvedCutList) -> str:
    """The answer as the terminal shows it."""
    return terminal_page(lambda console: _print(solved, console))


def cut_list_text(solved: SolvedCutList) -> str:
    """The answer as plain text, for a file."""
    return plain_page(lambda console: _print(solved, console))


def step_lines(solved: SolvedCutList, number: int) -> list[str]:
    """What to do in a step, from 0, a line each."""
    step = solved.steps[number]
    first = step.pieces[0].pay_off
    held = with_uncertainty(first.check.held_m, first.check.held_u_m, "m")
    lines = [
        f"{step.plan.length_m:.3f} m onto {step.name}, {turns_text(step.plan.counted_turns)} turns.",
        f"Pay off from {first.name}, which held {held} when the list was made.",
    ]
    if number:
        lines = _guide(solved.steps[number - 1]) + lines
    cut_off = f", cutting off {solved.cut_list.rules.join_loss_m:g} m" if solved.cut_list.rules.join_loss_m else ""
    lines += [
        f"At {piece.from_m:.3f} m the winder pauses: join {piece.pay_off.name} on{cut_off}, and go on."
        for piece in step.pieces[1:]
    ]
    return [plain_text(line) for line in lines]


def _guide(before: Step) -> list[str]:
    left = before.plan.phase_turns
    if left == before.plan.layer_turns:
        return []  # it stands at a flange
    turns = turns_text(float(left))
    return [f"Bring the guide to a flange: {turns} turns on, if it stands where the step before left it."]


def _print(solved: SolvedCutList, console: Console) -> None:
    cutting = solved.cutting
    counts = [
        count_of(cutting.joins, "join"),
        f"{cutting.waste_mm / 1000:.3f} m wasted",
        f"{count_of(len(cutting.opened), 'pay-off spool')} opened",
    ]
    console.print(Text(f"{count_of(len(solved.steps), 'length')}: {', '.join(counts)}.", style="bold"))
    console.print(Text(BEST_ESTIMATE if solved.best_estimate else SURE))
    if not cutting.proven:
        console.print(
            Text("The best found in the time allowed, not proven the best: --seconds allows more.", style="yellow")
        )
    console.print(_spools(solved))
    console.print()
    for number in range(len(solved.steps)):
        console.print(Text(f"Step {number + 1}", style="bold"))
        for line in step_lines(solved, number):
            console.print(Padding(Text(line), (0, 0, 0, 2), expand=False))
    console.print()
    # what is the same for several steps is told once
    warnings: dict[tuple[str, str], list[str]] = {}
    for step in solved.steps:
        for finding in step.plan.findings:
            warnings.setdefault((finding.code, finding.message), []).append(step.name)
    for (code, message), names in sorted(warnings.items()):
        of = "" if len(names) == len(solved.steps) else f" of {plain_text(names_of(names))}"
        console.print(Text.assemble((f"Warning ({code}){of}: ", "yellow"), plain_text(message)))


def _spools(solved: SolvedCutList) -> FigureTable:
    table = FigureTable(
        Column("Pay-off spool", words=True),
        Column("Holds", "m", spare=1),
        Column("Counted on", "m", spare=2),
        Column("Used", "m"),
        Column("Left", "m"),
        Column("Then"),
    )
    cutting = solved.cutting
    for number, spool in enumerate(solved.cut_list.pay_offs):
        table.add_row(
            plain_text(spool.name),
            with_uncertainty(spool.check.held_m, spool.check.held_u_m, "").strip(),
            f"{cutting.problem.supplies[number].usable_mm / 1000:.3f}",
            f"{cutting.used_mm(number) / 1000:.3f}",
            with_uncertainty(cutting.left_mm(number) / 1000, solved.left_u_m(number), "").strip(),
            solved.fate(number),
        )
    return table
