"""Jobs that the ledger has unfinished on a port, and that the winder there does not hold: told, or given up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.device.discovery import is_gone
from reelwright.errors import EXIT_TRIPPED, DeviceError
from reelwright.operation.commands import resume_command
from reelwright.operation.recorded import LOOKED_THROUGH, given_up, last_pulses_heard, plan_of, was_begun

if TYPE_CHECKING:
    from reelwright.ledger import Ledger, WindRecord
    from reelwright.operation.commands import Ways
    from reelwright.views import View
    from reelwright.winding.planned import Plan


class TrippedError(DeviceError):
    """The winder is held by a trip that the operator has not cleared, or has lost a job that waits for a resume."""

    exit_code = EXIT_TRIPPED


def unfinished(plan: Plan, ledger: Ledger, port_name: str) -> list[WindRecord]:
    """What the ledger has unfinished on a port, the newest first; and this very job of a port that is gone.

    A winder that is plugged in elsewhere, or another in its place, has a port of another name. One whose port is
    still there may be winding this job itself.
    """
    job = plan.job.to_dict()
    return [
        each
        for each in ledger.winds(LOOKED_THROUGH)
        if each.open and (each.port == port_name or (each.job == job and is_gone(each.port)))
    ]


def refuse_forgotten(plan: Plan, ledger: Ledger, ways: Ways) -> None:
    """Raises TrippedError where this very job was under way, and no winder has it any more."""
    for record in unfinished(plan, ledger, ways.port_name):
        if not was_begun(record) or record.job != plan.job.to_dict():
            continue
        pulses = last_pulses_heard(record) or 0
        elsewhere = "" if record.port == ways.port_name else f" at {record.port}, which is not there now"
        raise TrippedError(
            f"Job {record.job_id} is this one, and was at {plan.turns_at(pulses):.2f} turns when last"
            f" recorded{elsewhere}; the winder no longer holds it. A new wind would begin at zero, on top of that"
            " strand.",
            ways.go_on_or_drop(record),
        )


def settle_unfinished(plan: Plan, ledger: Ledger, ways: Ways, view: View, *, drop_held: bool) -> None:
    """Close what the ledger has unfinished on this port, where it is given up or nothing was heard; tell of the rest
    in a line: the winder holds none of it."""
    told = []
    for record in unfinished(plan, ledger, ways.port_name):
        if drop_held or not was_begun(record):
            ledger.close_wind(record.job_id, given_up(record, ledger))
        else:
            told.append((record, last_pulses_heard(record) or 0))
    if not told:
        return
    newest, pulses = told[0]
    older = len(told) - 1
    so_are = "So is an older one" if older == 1 else f"So are {older} older ones"
    more = f" {so_are}: see `reelwright ledger list`." if older else ""
    view.notice(
        f"Job {newest.job_id} is unfinished on this port, at {plan_of(newest).turns_at(pulses):.2f} turns when last"
        " recorded, and the winder no longer holds it."
        f" `{resume_command(newest.job_id, ways.port_name)}` goes on with it; `{ways.drop}` gives it up.{more}"
    )
