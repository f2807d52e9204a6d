"""What the ledger has of before that matters to a wind which is about to begin: told, in a note each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reelwright.operation.commands import resume_command
from reelwright.operation.recorded import (
    LOOKED_THROUGH,
    as_it_stands,
    kept_to_its_end,
    last_pulses_heard,
    was_begun,
)
from reelwright.operation.telling import PHASE_SLACK_TURNS
from reelwright.operation.whereabouts import is_same
from reelwright.views.wording import length_text
from reelwright.winding.nouns import count_of
from windlink import codes

if TYPE_CHECKING:
    from reelwright.ledger import Ledger, WindRecord
    from reelwright.operation.standing import Memory
    from reelwright.snapshot import WindResult
    from reelwright.views import View
    from reelwright.winding.planned import Plan


def strand_of_this_job(plan: Plan, ledger: Ledger, port_name: str, serial_number: str, memory: Memory | None) -> str:
    """What this very job has left on the spool of this winder, in a sentence, where it was the last wind there and is
    over; else nothing. memory: what the winder remembers, which may have ended it when nobody heard."""
    last = _last_on(port_name, serial_number, ledger)
    if last is None or last.job != plan.job.to_dict():
        return ""
    known = as_it_stands(last, ledger).known
    if last.open:
        if memory is None or memory.job_id != last.job_id or memory.under_way:
            return ""
        known = kept_to_its_end(last, ledger, memory)
    if known is None or (known.turns_highest is not None and known.turns_highest <= 0):
        return ""
    return _left(last, known)


def strand_given_up(status: dict[str, Any], memory: Memory | None, ledger: Ledger) -> str:
    """What a job that is to be given up has left on the spool of its winder, in a sentence; nothing where it has none.

    status: the winder's. memory: what it remembers from before its last start.
    """
    if memory is not None and not memory.under_way:
        memory = None
    job_id = status["job_id"] or (memory.job_id if memory else 0)
    pulses = status["pulses"] or (memory.pulses if memory else 0)
    record = ledger.find(job_id) if job_id else None
    known = as_it_stands(record, ledger).known if record is not None else None
    if status["state"] == codes.FINISHED or (known is None and not pulses):
        return ""
    strand = f"strand of {count_of(pulses, 'pulse')}" if known is None else length_text(known)
    return f"Job {job_id} is given up, and left {strand} on its spool. This wind begins at zero, on an empty spool."


def tell_before(plan: Plan, ledger: Ledger, port_name: str, serial_number: str, view: View) -> None:
    """What the last wind of this winder left behind: a spool, and a guide somewhere."""
    last = _last_on(port_name, serial_number, ledger)
    known = None if last is None else as_it_stands(last, ledger).known
    if last is None or known is None:
        return
    if last.job == plan.job.to_dict():
        view.notice(_left(last, known))
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


def _last_on(port_name: str, serial_number: str, ledger: Ledger) -> WindRecord | None:
    """The last wind of the winder at this port, whatever its port was called then."""
    for record in ledger.winds(LOOKED_THROUGH):
        stays = ledger.stays(record.job_id)
        if stays and is_same(stays[-1], port_name, serial_number):
            return record
    return None


def _left(last: WindRecord, known: WindResult) -> str:
    return (
        f"Job {last.job_id} was this one too, and left {length_text(known)} on its spool."
        " This wind begins at zero, on an empty spool."
    )
