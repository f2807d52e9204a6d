"""Taking a job to the winder, or picking it up where the winder holds it.

The winder may hold nothing, this very job from an earlier command, another job, or a trip. Each is settled
in the ledger before anything new begins.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from reelwright.device.client import RefusedError
from reelwright.device.job_values import job_values
from reelwright.errors import EXIT_TRIPPED, DeviceError
from reelwright.ledger import new_job_id
from reelwright.operation.telling import result_of
from reelwright.operation.wind import Wind
from windlink import codes
from windlink.sentences import STATES, TRIPS, code_of

if TYPE_CHECKING:
    from reelwright.device.client import Client, Winder
    from reelwright.ledger import Ledger, WindRecord
    from reelwright.views import View
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

EASE_S = 60.0  # granted to a winder for coming to rest


class TrippedError(DeviceError):
    """The winder is held by a trip that the operator has not cleared."""

    exit_code = EXIT_TRIPPED


class Arrival:
    """Brings one job to one winder."""

    def __init__(
        self, job: Job, plan: Plan, client: Client, ledger: Ledger, view: View, winder: Winder, port_name: str
    ) -> None:
        self._job = job
        self._plan = plan
        self._client = client
        self._ledger = ledger
        self._view = view
        self._winder = winder
        self._port_name = port_name

    def begin(self, *, clear: str | None, drop_held: bool) -> Wind:
        """Start the job, or pick it up.

        clear: word of the trip that the operator says is mended. drop_held: abandon another job that the
        winder holds. Raises TrippedError, or DeviceError when the winder is held by another job or refuses.
        """
        status = self._client.request("status")
        if status["state"] == codes.TRIPPED:
            status = self._clear(status, clear)
        elif clear is not None:
            self._view.notice("There is no trip to clear.")
        held = status["job_id"]
        record = self._ledger.find(held) if held else None
        if record is not None and record.open and record.job == self._job.to_dict():
            return self._pick_up(held, status)
        if status["state"] not in (codes.EMPTY, codes.FINISHED, codes.LOADED):
            if not drop_held:
                raise DeviceError(
                    f"The winder holds another job, {held}: it is {STATES[status['state']].word}"
                    f" at {status['pulses']} pulses.",
                    "Finish it with the job that it was started with, or give --drop-held to abandon it.",
                )
            status = self._drop(held)
        if record is not None and record.open:
            self._close(record, status)
        elif not held:
            self._tell_lost_wind()
        return self._load()

    def _load(self) -> Wind:
        values = job_values(self._job, self._plan)
        self._check_room(values)
        job_id = new_job_id(self._ledger)
        self._ledger.open_wind(
            job_id,
            job=self._job.to_dict(),
            plan=self._plan.to_dict(),
            port=self._port_name,
            board=self._winder.board,
            firmware=self._winder.firmware,
            protocol=self._winder.protocol,
            boot=self._winder.boot,
        )
        try:
            self._client.load(job_id, values)
            self._client.request("start", job_id)
        except RefusedError:
            # the winder said no, so nothing was wound
            self._ledger.close_wind(job_id, result_of(self._plan, job_id, codes.EMPTY, 0, outcome="abandoned"))
            raise
        return self._wind(job_id)

    def _wind(self, job_id: int) -> Wind:
        return Wind(self._plan, job_id, self._winder.boot, self._client, self._ledger, self._view)

    def _check_room(self, values: list[int]) -> None:
        if len(values) > self._winder.most_job_values:
            raise DeviceError(
                f"The job has {len(values)} values, the winder takes {self._winder.most_job_values}.",
                "Ask for fewer stops.",
            )
        if len(self._plan.layers) > self._winder.most_layers:
            raise DeviceError(
                f"The job has {len(self._plan.layers)} layers, the winder takes {self._winder.most_layers}.",
                "Wind it onto a larger barrel, or in two jobs.",
            )

    def _pick_up(self, job_id: int, status: dict[str, Any]) -> Wind:
        self._ledger.adopt(job_id, self._winder.boot)
        state = status["state"]
        turns = self._plan.turns_at(max(0, status["pulses"]))
        self._view.notice(f"Picks up job {job_id} at {turns:.2f} turns; the winder is {STATES[state].word}.")
        if state == codes.LOADED:
            self._client.request("start", job_id)
        elif state == codes.WAITING:
            self._client.request("go_on", job_id, status["wait"])
        return self._wind(job_id)

    def _clear(self, status: dict[str, Any], clear: str | None) -> dict[str, Any]:
        word, sentence, remedy = self._client.trip_sentence()
        how = f"{remedy} Then give the same command with --clear {word}."
        if clear is None:
            if not status["job_id"]:
                self._tell_lost_wind()
            raise TrippedError(f"The winder is tripped ({word}). {sentence}", how)
        if clear != word:
            raise TrippedError(f"The winder is tripped by {word}, not by {clear}. {sentence}", how)
        self._client.request("clear", code_of(TRIPS, word))
        return self._client.request("status")

    def _tell_lost_wind(self) -> None:
        """A winder without a job, where the ledger has one unfinished on this port: it has restarted, or is another."""
        for record in self._ledger.winds(50):
            if record.open and record.port == self._port_name and record.last_pulses:
                self._view.notice(
                    f"Job {record.job_id} was at {record.last_pulses} pulses when this port was last heard, and the"
                    f" winder no longer holds it. What is on that spool: `reelwright ledger show {record.job_id}`."
                )
                return

    def _drop(self, held: int) -> dict[str, Any]:
        self._client.request("abandon", held)
        deadline_s = time.monotonic() + EASE_S
        status = self._client.request("status")
        while status["state"] != codes.FINISHED:
            if time.monotonic() > deadline_s:
                raise DeviceError(f"The winder does not come to rest after job {held}.", "Stop it by hand.")
            self._client.listen()
            status = self._client.request("status")
        return status

    def _close(self, record: WindRecord, status: dict[str, Any]) -> None:
        """Close the record of a job that the winder still holds but this command does not go on with."""
        from reelwright.profiles import build_job
        from reelwright.winding.plan import make_plan

        plan = make_plan(build_job(record.job, "the ledger"))
        reached = status["pulses"] >= plan.target_pulses
        self._ledger.close_wind(
            record.job_id,
            result_of(
                plan,
                record.job_id,
                status["state"],
                status["pulses"],
                outcome="reached" if reached else "abandoned",
            ),
        )
