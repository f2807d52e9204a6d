"""What the ledger has of before that matters to a wind which is about to begin: told, in a note each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.operation.commands import resume_command
from reelwright.operation.recorded import LOOKED_THROUGH, as_it_stands, last_pulses_heard, was_begun
from reelwright.operation.telling import PHASE_SLACK_TURNS
from reelwright.views.wording import length_text

if TYPE_CHECKING:
    from reelwright.ledger import Ledger
    from reelwright.views import View
    from reelwright.winding.planned import Plan


def tell_before(plan: Plan, ledger: Ledger, port_name: str, view: View) -> None:
    """What the last wind on this port left behind: a spool, and a guide somewhere."""
    last = next((record for record in ledger.winds(LOOKED_THROUGH) if record.port == port_name), None)
    known = None if last is None else as_it_stands(last, ledger).known
    if last is None or known is None:
        return
    if last.job == plan.job.to_dict():
        view.notice(
            f"Job {last.job_id} was this one too, and left {length_text(known)} on its spool."
            " This wind begins at zero, on an empty spool."
        )
    phase_turns = known.phase_turns
    if plan.job.machine.phase_turns is not None or not phase_turns or known.uncertain:
        return
    if abs(phase_turns - float(plan.layer_turns)) > PHASE_SLACK_TURNS:
        view.notice(
            f"Job {last.job_id} left the guide {phase_turns:.2f} turns before its next reversal. This job is"
            " planned for a guide at a flange: if it does not stand there, stop and give"
            f" --phase-turns {phase_turns:.2f}."
        )


def tell_elsewhere(plan: Plan, ledger: Ledger, port_name: str, view: View) -> None:
    """This very job, unfinished at another port that is there: it may be another winder's, or this one's."""
    job = plan.job.to_dict()
    for record in ledger.winds(LOOKED_THROUGH):
        if record.open and was_begun(record) and record.job == job and record.port != port_name:
            turns = plan.turns_at(last_pulses_heard(record) or 0)
            view.notice(
                f"Job {record.job_id} is this one too, and is unfinished at {record.port}, at {turns:.2f} turns when"
                " last recorded. This wind begins at zero. If it is the same winder at another port, stop:"
                f" `{resume_command(record.job_id, port_name)}` goes on with that job."
            )
            return
