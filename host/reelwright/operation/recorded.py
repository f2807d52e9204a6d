"""What the ledger has of a job, and what that says of its spool: one rule for results, lists and resumptions."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from attrs import evolve

from reelwright.errors import ReelwrightError
from reelwright.operation.doubted import doubt_of
from reelwright.operation.standing import Heard, standing
from reelwright.operation.telling import RESTARTED, ending_of, happenings_of, result_of, uncertain_turns_of
from windlink import codes
from windlink.sentences import OUTCOMES, STATES, code_of, say

if TYPE_CHECKING:
    from collections.abc import Container

    from reelwright.ledger import Ledger, WindRecord
    from reelwright.operation.standing import Memory
    from reelwright.snapshot import WindResult
    from reelwright.winding.planned import Plan

LOOKED_THROUGH = 200  # winds of the ledger, the newest first


def plan_of(record: WindRecord) -> Plan:
    """The plan of a recorded wind, made anew from its job."""
    from reelwright.profiles import build_job
    from reelwright.winding.plan import make_plan

    return make_plan(build_job(record.job, "the ledger"))


def is_unfinished(record: WindRecord) -> bool:
    """Whether a wind may go on: one that was given up for lost may, when the winder turns up with it after all."""
    return record.open or (record.result is not None and record.result.uncertain)


def last_pulses_heard(record: WindRecord) -> int | None:
    """The last count heard, whichever of the record's figures is later."""
    uncertain = record.result is not None and record.result.uncertain
    if record.result is not None and uncertain:
        return max(record.last_pulses or 0, record.result.counted_pulses)
    return record.last_pulses


def was_begun(record: WindRecord) -> bool:
    """Whether its spool may hold strand: a count was heard, or the winder was told to wind and nothing heard since."""
    return bool(last_pulses_heard(record)) or record.last_state == STATES[codes.WINDING].word


def heard_of(record: WindRecord, ledger: Ledger, series: Container[int] | None = None) -> Heard | None:
    """The last count that the ledger has, and how long after it a restart was noticed, by the winder's own clock.

    series: those of one winder, where another has gone on with the job since; by default what was heard last of all.
    """
    counts = [each for each in ledger.counts(record.job_id) if series is None or each.series in series]
    if not counts:
        return None
    last = counts[-1]
    pulses = last.pulses
    if series is None or record.series in series:
        pulses = max(pulses, last_pulses_heard(record) or 0)
    noticed = [
        each
        for each in ledger.events(record.job_id)
        if each.happening.verb == RESTARTED and (series is None or each.series in series)
    ]
    silent_s = None
    if noticed:
        fields = noticed[-1].happening.fields
        passed_s = (datetime.fromisoformat(noticed[-1].at) - datetime.fromisoformat(last.at)).total_seconds()
        if passed_s >= 0:
            pulses = max(pulses, int(str(fields.get("pulses", 0))))
            pace = int(str(fields.get("pace", 0)))
            silent_s = passed_s * pace if pace else None
    return Heard(pulses, last.state, silent_s)


def as_it_stands(record: WindRecord, ledger: Ledger) -> WindRecord:
    """The record with a result that holds now: of a wind that was heard of since its result was kept, or has none.

    Such a result has the bounds that a resumption would tell from the ledger alone. Where the job cannot be planned any
    more, the record is as it was.
    """
    known = record.known
    if not record.open or (known is not None and (not known.uncertain or known.length_highest_m is not None)):
        return record
    heard = heard_of(record, ledger)
    try:
        plan = plan_of(record)
    except ReelwrightError:
        return record
    where = standing(plan.job, plan, None, heard)
    if heard is None or where is None:
        return record
    events = ledger.events(record.job_id)
    result = result_of(
        plan,
        record.job_id,
        code_of(STATES, heard.state),
        heard.pulses,
        uncertain=True,
        where=where,
        before_turns=uncertain_turns_of(events),
        doubt=doubt_of(plan, happenings_of(events), heard.pulses),
    )
    return evolve(record, result=result)


def kept_to_its_end(record: WindRecord, ledger: Ledger, memory: Memory) -> WindResult:
    """The result of a job that the winder ended before it restarted, whoever was there to hear of it."""
    outcome = say(OUTCOMES, memory.outcome).word
    plan = plan_of(record)
    events = ledger.events(record.job_id)
    return result_of(
        plan,
        record.job_id,
        codes.FINISHED,
        memory.pulses,
        outcome=outcome,
        before_turns=uncertain_turns_of(events),
        doubt=doubt_of(plan, happenings_of(events), memory.pulses),
    )


def given_up(record: WindRecord, ledger: Ledger, memory: Memory | None = None) -> WindResult:
    """The result of a job that nobody goes on with: what the winder remembers of it, else what the ledger heard."""
    plan = plan_of(record)
    events = ledger.events(record.job_id)
    last = last_pulses_heard(record)
    heard = heard_of(record, ledger)
    ended = None if memory else ending_of(each.happening for each in events if each.series == record.series)
    where = None if ended else standing(plan.job, plan, memory, heard)
    pulses, outcome = ended or (where.best if memory and where else last or 0, "abandoned")
    return result_of(
        plan,
        record.job_id,
        codes.EMPTY,
        pulses,
        outcome=outcome,
        uncertain=where is not None and not memory,
        where=where,
        before_turns=uncertain_turns_of(events),
        doubt=doubt_of(plan, happenings_of(events), pulses),
    )
