"""`reelwright wind --resume`: tell what winder and ledger know of a job, have its count agreed, and go on."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from reelwright.cautions import CAUTION
from reelwright.errors import EXIT_ABANDONED, EXIT_DONE, EXIT_PAUSED, ReelwrightError, UsageError
from reelwright.operation.standing import MOST_BEYOND_TURNS
from reelwright.views.untrusted import plain_text
from windlink import codes
from windlink.sentences import CAUSES, OUTCOMES, SOURCES, STATES, say

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.operation.resume import Rejoin
    from reelwright.operation.wind import Ending
    from reelwright.winding.job import Job

AGREE = "agree"  # the word to type


class NotAgreedError(ReelwrightError):
    """The operator has not agreed to a count, so nothing has moved."""

    exit_code = EXIT_PAUSED


def resume(
    job: Job | None,
    job_id: int | None,
    port_name: str | None,
    *,
    as_json: bool,
    transcript_path: Path | None,
    go_on_at_stops: bool,
    agree: bool,
    counted: tuple[float, float] | None,
    link_wait_s: float,
) -> Ending:
    """Go on with a job after a restart of its winder.

    job, job_id: the one that is meant, or neither for the one that the winder remembers. counted: turns that the
    operator has counted on the spool, and how far they may be off. Raises NotAgreedError, and what `Resumption.find`
    raises.
    """
    from reelwright.cli.wind import attached, counting, heading
    from reelwright.operation.resume import Rejoin, Resumption
    from reelwright.operation.wind import Ending
    from reelwright.views import choose_view
    from reelwright.views.keys import Keys

    with ExitStack() as stack:
        link = stack.enter_context(attached(port_name, transcript_path))
        resumption = Resumption(link.client, link.ledger, link.winder, link.port_name)
        found = resumption.find(job, job_id)
        if not isinstance(found, Rejoin):
            with choose_view(as_json=as_json, heading=f"Job {found.job_id} had ended before the restart") as view:
                view.result(found)
            return Ending(EXIT_ABANDONED if found.outcome == OUTCOMES[codes.ABANDONED].word else EXIT_DONE)
        pulses, uncertain_turns = _proposal(found, counted)
        for line in told(found, pulses, uncertain_turns):
            click.echo(plain_text(line), err=as_json)
        if not agree:
            _ask(pulses / float(found.plan.pulses_per_spool_turn))
        view = stack.enter_context(choose_view(as_json=as_json, heading=heading(found.plan, link.port_name)))
        if found.plan.job.machine.drive != "hand":
            view.notice(CAUTION)
        keys = stack.enter_context(Keys(on_unknown=view.notice))
        # only from here on: until the operator has agreed, Ctrl-C just leaves
        interrupts = stack.enter_context(counting())
        under_way = resumption.carry_out(found, pulses, uncertain_turns, view)
        attended = sys.stdin.isatty() and not as_json
        ending = under_way.follow(
            keys, interrupts, go_on_at_stops=go_on_at_stops, stay_on_trip=attended, link_wait_s=link_wait_s
        )
        link.tell_fault(view)
        return ending


def told(rejoin: Rejoin, pulses: int, uncertain_turns: float) -> list[str]:
    """What each side knows, and what is proposed, a line each."""
    plan, memory, record = rejoin.plan, rejoin.memory, rejoin.record
    target = plan.target_pulses
    spool = plan.job.take_up.name or "a spool"
    lines = [
        f"Job {record.job_id}: {plan.length_m:.2f} m onto {spool}, {plan.turns_at(target):.2f} turns.",
        f"Last start of the winder: {say(CAUSES, rejoin.cause).sentence}",
    ]
    if memory is None:
        lines.append(f"The winder: {say(SOURCES, 0).sentence}")
    else:
        rpm = memory.rate * 0.6 / float(plan.pulses_per_spool_turn)
        speed = f" at {rpm:.0f} rpm" if memory.rate else ""
        lines.append(
            f"The winder: {plan.turns_at(memory.pulses):.2f} turns, kept while {say(STATES, memory.state).word}{speed}."
            f" {say(SOURCES, memory.source).sentence}"
        )
    if record.last_pulses is None:
        lines.append("The ledger: no count was heard.")
    else:
        lines.append(
            f"The ledger: {plan.turns_at(record.last_pulses):.2f} turns, {record.last_state}, heard at"
            f" {record.last_count_at}."
        )
    lines.append(
        f"So the spool has {plan.turns_at(pulses):.2f} turns, {plan.length_m_at(pulses):.2f} m, give or take"
        f" {uncertain_turns:.2f} turns: {_why(rejoin, pulses)}."
    )
    if uncertain_turns:
        lines.append("If you can count them, give them with --counted-turns.")
    lines.append("Nothing has moved since, and nothing moves before you agree. Turns made by hand are not in it.")
    return lines


def _why(rejoin: Rejoin, pulses: int) -> str:
    return rejoin.standing.source if pulses == max(0, rejoin.standing.best) else "counted by you"


def _proposal(rejoin: Rejoin, counted: tuple[float, float] | None) -> tuple[int, float]:
    """Count, and how far it may be off in turns either way."""
    if counted is None:
        return max(0, rejoin.standing.best), rejoin.uncertain_turns
    counted_turns, give_or_take_turns = counted
    per_turn = float(rejoin.plan.pulses_per_spool_turn)
    pulses = round(counted_turns * per_turn)
    if counted_turns > 2 * rejoin.plan.turns + MOST_BEYOND_TURNS:
        raise UsageError(
            f"--counted-turns {counted_turns:g}: the job has {rejoin.plan.turns:.2f} turns, so the spool cannot hold"
            " so many of it.",
            "Count again, without what was on the spool before the job.",
        )
    return pulses, give_or_take_turns


def _ask(turns: float) -> None:
    if not sys.stdin.isatty():
        raise NotAgreedError(
            "Nobody is there to agree to this count, so nothing has moved.",
            "Give the command at a terminal, or add --agree.",
        )
    typed = click.prompt(f"Type {AGREE} to go on from {turns:.2f} turns", default="", show_default=False, err=True)
    if typed.strip().lower() != AGREE:
        raise NotAgreedError("Not agreed: nothing has moved.", "Give the same command again when you are ready.")
