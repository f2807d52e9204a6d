"""`reelwright wind --resume`: tell what winder and ledger know of a job, have its count agreed, and go on."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from reelwright.cautions import CAUTION
from reelwright.cli.agreement import Consent, ask, proposal_of, proposal_record, told
from reelwright.cli.prose import say
from reelwright.errors import EXIT_ABANDONED, EXIT_DONE, UsageError
from reelwright.json_text import json_text
from reelwright.views.untrusted import plain_text
from windlink import codes
from windlink.sentences import OUTCOMES

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.operation.resume import Rejoin
    from reelwright.operation.wind import Ending
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
) -> Ending:
    """Go on with a job after a restart of its winder, or with one that the winder still holds.

    job, job_id: the one that is meant, or neither for the one that the winder has or remembers. clear: the trip that
    holds it, where the winder still has it. Raises NotAgreedError, and what `Resumption.held` and `find` raise.
    """
    from reelwright.cli.wind import attached, counting, followed, heading
    from reelwright.operation.resume import Rejoin, Resumption, plan_of
    from reelwright.operation.wind import Ending
    from reelwright.views import choose_view
    from reelwright.views.keys import Keys

    with ExitStack() as stack:
        link = stack.enter_context(attached(port_name, transcript_path))
        resumption = Resumption(link.client, link.ledger, link.winder, link.port_name)
        record = resumption.held(job, job_id)
        if record is not None:
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
            with choose_view(as_json=as_json, heading=f"Job {found.job_id} had ended before the restart") as view:
                view.result(found)
            abandoned = found.outcome == OUTCOMES[codes.ABANDONED].word
            return Ending(EXIT_ABANDONED if abandoned else EXIT_DONE, found.job_id)
        pulses, uncertain_turns = _agreed(found, consent, as_json=as_json)
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


def _agreed(rejoin: Rejoin, consent: Consent, *, as_json: bool) -> tuple[int, float]:
    """Count and how far it may be off, in turns, once they are agreed to."""
    from reelwright.views.json_lines import FORMAT

    proposal = proposal_of(rejoin, consent.counted)
    for line in told(rejoin, proposal):
        say(plain_text(line), err=as_json)
    if not proposal.agreed_by(consent):
        if as_json:
            click.echo(json_text({"kind": "proposal", "format": FORMAT, **proposal_record(rejoin, proposal)}))
        ask(proposal)
    return proposal.pulses, proposal.uncertain_turns
