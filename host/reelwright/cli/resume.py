"""`reelwright wind --resume`: tell what winder and ledger know of a job, have its count agreed, and go on."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from reelwright.cautions import CAUTION
from reelwright.cli.agreement import (
    Consent,
    ask,
    ask_count,
    proposal_of,
    proposal_record,
    told,
    told_of_count,
)
from reelwright.cli.prose import say
from reelwright.errors import EXIT_ABANDONED, EXIT_DONE, UsageError
from reelwright.json_text import json_text
from reelwright.views.untrusted import plain_text
from windlink import codes
from windlink.sentences import OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from reelwright.cli.wind import Link
    from reelwright.ledger import WindRecord
    from reelwright.operation.resume import Rejoin, Resumption
    from reelwright.operation.wind import Ending
    from reelwright.snapshot import WindResult
    from reelwright.winding.job import Job


def resume(
    job: Job | None,
    job_id: int | None,
    port_name: str | None,
    *,
    as_json: bool,
    transcript_path: Path | None,
    go_on_at_stops: bool,
    clear: str | None,
    consent: Consent,
    link_wait_s: float,
    words: Sequence[str] = (),
) -> Ending:
    """Go on with a job after a restart of its winder, or with one that the winder still holds.

    job, job_id: the one that is meant, or neither for the one that the winder has or remembers. clear: the trip that
    holds it, where the winder still has it. words: of the command line, after the program's name.
    Raises NotAgreedError, and what `Resumption.held` and `find` raise.
    """
    from reelwright.cli.wind import attached, counting, followed
    from reelwright.operation.commands import words_to_begin
    from reelwright.operation.recorded import plan_of
    from reelwright.operation.resume import Rejoin, Resumption

    with ExitStack() as stack:
        link = stack.enter_context(attached(port_name, transcript_path))
        begin = words_to_begin(words) if job is not None else ()
        resumption = Resumption(link.client, link.ledger, link.winder, link.port_name, begin)
        record = resumption.held(job, job_id, agreed=consent.was_given and consent.counted is None)
        if record is not None:
            if consent.counted is not None:
                raise _no_count_by_eye(record, link)
            interrupts = stack.enter_context(counting())
            return followed(
                link,
                plan_of(record),
                interrupts,
                as_json=as_json,
                go_on_at_stops=go_on_at_stops,
                clear=clear,
                link_wait_s=link_wait_s,
            )
        if clear is not None:
            raise UsageError(
                "--clear goes with --resume only for a job that the winder still holds.", "Leave --clear out."
            )
        found = resumption.find(job, job_id)
        if not isinstance(found, Rejoin):
            return _had_ended(found, as_json=as_json)
        count = _agreed(found, consent, as_json=as_json)
        return _gone_on(
            link, resumption, found, count, as_json=as_json, go_on_at_stops=go_on_at_stops, link_wait_s=link_wait_s
        )


def _no_count_by_eye(record: WindRecord, link: Link) -> UsageError:
    """The refusal of a count by eye while the winder goes by its own; where that is in doubt, how to give it."""
    from reelwright.operation.commands import counted_command
    from reelwright.operation.doubted import doubt_of
    from reelwright.operation.recorded import plan_of
    from reelwright.operation.telling import happenings_of

    pulses = link.client.request("status")["pulses"]
    doubt = doubt_of(plan_of(record), happenings_of(link.ledger.events(record.job_id)), pulses)
    remedy = "Leave --counted-turns out."
    if doubt.words:
        remedy += (
            f" If its count is not what is on the spool ({', '.join(doubt.words)}), switch the winder off and on again;"
            f" it then goes on from yours: `{counted_command(record.job_id, link.port_name)}`."
        )
    return UsageError(
        f"The winder still holds job {record.job_id}, and goes by its own count: --counted-turns is for after a"
        " restart.",
        remedy,
    )


def _had_ended(result: WindResult, *, as_json: bool) -> Ending:
    """Tell of a job that its winder had ended before the restart."""
    from reelwright.operation.wind import Ending
    from reelwright.views import choose_view

    with choose_view(as_json=as_json, heading=f"Job {result.job_id} had ended before the restart") as view:
        view.result(result)
    abandoned = result.outcome == OUTCOMES[codes.ABANDONED].word
    return Ending(EXIT_ABANDONED if abandoned else EXIT_DONE, result.job_id)


def _gone_on(
    link: Link,
    resumption: Resumption,
    rejoin: Rejoin,
    count: tuple[int, float],
    *,
    as_json: bool,
    go_on_at_stops: bool,
    link_wait_s: float,
) -> Ending:
    """Load the job at the agreed count (pulses, and turns that they may be off), and follow it to its rest."""
    from reelwright.cli.wind import counting, heading
    from reelwright.views import choose_view
    from reelwright.views.keys import Keys

    with ExitStack() as stack:
        view = stack.enter_context(choose_view(as_json=as_json, heading=heading(rejoin.plan, link.port_name)))
        if rejoin.plan.job.machine.drive != "hand":
            view.notice(CAUTION)
        keys = stack.enter_context(Keys(tell=view.notice))
        # only from here on: until the operator has agreed, Ctrl-C just leaves
        interrupts = stack.enter_context(counting())
        under_way = resumption.carry_out(rejoin, *count, view)
        attended = sys.stdin.isatty() and not as_json
        ending = under_way.follow(
            keys, interrupts, go_on_at_stops=go_on_at_stops, stay_on_trip=attended, link_wait_s=link_wait_s
        )
        link.tell_fault(view)
        return ending


def _agreed(rejoin: Rejoin, consent: Consent, *, as_json: bool) -> tuple[int, float]:
    """Count and how far it may be off, in turns, once they are agreed to."""
    from reelwright.views.json_lines import FORMAT

    proposal = proposal_of(rejoin, consent.counted)
    for line in told(rejoin, proposal):
        say(plain_text(line), err=as_json)
    if not proposal.agreed_by(consent):
        if as_json:
            click.echo(json_text({"kind": "proposal", "format": FORMAT, **proposal_record(rejoin, proposal)}))
        if proposal.needs_more_than_a_word and not proposal.counted and sys.stdin.isatty():
            proposal = proposal_of(rejoin, ask_count(rejoin, proposal))
            for line in told_of_count(rejoin, proposal):
                say(plain_text(line), err=as_json)
        ask(rejoin, proposal)
    return proposal.pulses, proposal.uncertain_turns
