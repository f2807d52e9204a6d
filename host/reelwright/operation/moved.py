"""A job that another winder has gone on with, seen from the one that had it before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from reelwright.errors import DeviceError
from reelwright.operation.commands import resume_command
from reelwright.operation.recorded import heard_of, is_unfinished, plan_of
from reelwright.operation.telling import OWN_SERIES, RESUMED, in_series, uncertain_turns_of
from reelwright.snapshot import Happening

if TYPE_CHECKING:
    from reelwright.device.client import Winder
    from reelwright.ledger import Ledger, Stay, WindRecord
    from reelwright.operation.commands import Ways
    from reelwright.operation.whereabouts import Whereabouts


class MovedJobError(DeviceError):
    """The winder holds or remembers a job that another winder has gone on with since."""

    @classmethod
    def of(cls, record: WindRecord, ledger: Ledger, moved: Stay, pulses: int, ways: Ways) -> Self:
        """As it is for the winder at the port of `ways`, which has so many pulses of it. moved: where it went on."""
        plan = plan_of(record)
        there = heard_of(record, ledger)
        turns = plan.turns_at(there.pulses if there else 0)
        still_here = f"This one has it from before, at {plan.turns_at(pulses):.2f} turns."
        drop = f"`{ways.drop}` gives up what this winder has, and begins a job in its place."
        if not is_unfinished(record):
            return cls(
                f"Job {record.job_id} is over: it went on at {moved.port}, to {turns:.2f} turns. {still_here}", drop
            )
        return cls(
            f"Job {record.job_id} has moved to the winder at {moved.port}, where {turns:.2f} turns were recorded last."
            f" {still_here}",
            f"`{resume_command(record.job_id, moved.port)}` goes on with it there."
            f" `{resume_command(record.job_id, ways.port_name, '--agree')}` takes it back to this winder and its own"
            f" spool. {drop}",
        )


def begin_stay(
    record: WindRecord, ledger: Ledger, winder: Winder, port_name: str, where: Whereabouts, pulses: int
) -> None:
    """Have the job with the winder that has held it all along, though it was given to another one since.

    What was agreed there was of another spool: only what restarts of this one have left unknown still holds.
    """
    ledger.begin_series(record.job_id, winder.boot, port=port_name, serial_number=winder.serial_number)
    before_turns = uncertain_turns_of(in_series(ledger.events(record.job_id), where.series))
    turns = plan_of(record).turns_at(pulses)
    sentence = f"Gone on with at {port_name}, whose winder has held it at {turns:.2f} turns all along."
    fields = {"pulses": pulses, "uncertain_turns": before_turns, OWN_SERIES: sorted(where.series)}
    ledger.record_event(record.job_id, winder.boot, Happening(0, RESUMED, sentence, fields))
