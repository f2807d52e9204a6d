"""The motor, on a short job of its own: low speed, few turns, no strand. To the winder it is a job as any other."""

from __future__ import annotations

import time
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from attrs import evolve

from reelwright.condition import MotorResult, MotorSample
from reelwright.device.job_values import job_values
from reelwright.errors import DeviceError, UsageError
from reelwright.ledger import new_job_id
from reelwright.operation.held import free_status
from reelwright.operation.steady_rate import SteadyRate
from reelwright.verdicts import verdict
from reelwright.winding.job import Job, Strand, TakeUp, Target
from reelwright.winding.nouns import count_of
from reelwright.winding.plan import make_plan
from windlink import codes
from windlink.frame import EVENT

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.device.client import Client
    from reelwright.ledger import Ledger
    from reelwright.operation.wind import Interrupts
    from reelwright.verdicts import Verdict
    from reelwright.winding.job import Machine
    from reelwright.winding.planned import Plan

TURNS = 5
SPEED_SHARE = 0.25  # of the greatest speed
FASTEST_RPM = 30.0
LINK_LOSS_S = 2.0
SLOW_SHARE = 0.8  # of the speed asked for
MOST_TIMES = 3.0  # the planned time, and
MOST_MORE_S = 60.0  # of the winder's own, before this program gives it up
CAUTIONS = (
    "This test turns the spool by its motor. The main danger is entanglement: tie back hair; no loose sleeves, gloves"
    " or jewellery; nobody else near. Take the strand off the spool. Keep one hand on the wired emergency stop, and use"
    " it when anything is not as it should be: Ctrl-C, the stop button and the trips do not replace it."
)
PASSWORD = "hand on the stop"  # noqa: S105 - what the operator types to say so, no secret
# What watches strand would trip where there is none.
_STRAND_PARTS = ("run_out_switch", "measuring_wheel")


def motor_job(machine: Machine) -> Job:
    """The short job for a machine. Raises UsageError for one that is turned by hand."""
    if machine.drive == "hand":
        raise UsageError("A machine that is turned by hand has no motor to test.", "Give --sensor alone.")
    rpm = min(machine.cruise_rpm, FASTEST_RPM, max(machine.approach_rpm, SPEED_SHARE * machine.max_spool_rpm))
    slow = evolve(
        machine,
        spool_rpm=rpm,
        line_speed_m_s=None,
        phase_turns=None,
        on_link_loss="pause",
        link_loss_s=LINK_LOSS_S,
        fitted=tuple(part for part in machine.fitted if part not in _STRAND_PARTS),
        measuring_wheel_mm_per_pulse=None,
    )
    diameter_mm = 1.75
    width_mm = diameter_mm * (float(machine.layer_turns) + 1)
    return Job(
        take_up=TakeUp(barrel_diameter_mm=60.0, flange_diameter_mm=100.0, inside_width_mm=width_mm),
        strand=Strand(diameter_mm=diameter_mm),
        machine=slow,
        target=Target(turns=Fraction(TURNS)),
    )


class MotorTest:
    """Loads the job, starts it, and follows it to rest. Construct it, have the operator agree, then `run`.

    Raises UsageError for a machine without a motor, and DeviceError when the winder has something else to do.
    """

    def __init__(
        self,
        machine: Machine,
        client: Client,
        ledger: Ledger,
        *,
        job: Job | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """job: to run in place of the slow one."""
        self.job = motor_job(machine) if job is None else job
        self.plan: Plan = make_plan(self.job)
        self._values = job_values(self.job, self.plan)
        self._client = client
        self._ledger = ledger
        self._clock = clock
        self._stopped = False
        self._steady = SteadyRate()
        self._fastest = (0, 1.0)  # mean rate, and the share of it that a pulse makes
        self._had_whole = False
        self.samples: list[MotorSample] = []
        self._off_at_s: float | None = None
        self.refuse_held()

    @property
    def wanted_rpm(self) -> float:
        """The speed that the spool shall reach."""
        return self.plan.cruise_rpm

    def refuse_held(self) -> None:
        """Raises DeviceError unless the winder is free, and all that it did before is in the ledger."""
        status = free_status(self._client)
        record = self._ledger.find(status["job_id"]) if status["job_id"] else None
        if record is not None and record.open:
            raise DeviceError(
                f"The end of job {record.job_id} is not in the ledger yet.",
                "Give the command that wound it once more: it fetches what the winder keeps. Then test.",
            )

    def run(self, interrupts: Interrupts) -> MotorResult:
        """The test, to rest; Ctrl-C eases to it at once.

        Raises RefusedError, or LinkLostError: the winder then eases to rest by itself.
        """
        client = self._client
        self.refuse_held()  # a person may have taken long to agree
        job_id = new_job_id(self._ledger)
        client.load(job_id, self._values)
        client.inbox.clear()
        client.request("start", job_id)
        seconds = MOST_TIMES * self.plan.seconds + MOST_MORE_S
        deadline_s = self._clock() + client.virtual(seconds)
        status = client.request("status")
        while status["state"] in (codes.WINDING, codes.EASING) and self._clock() < deadline_s:
            client.listen()
            self._hear()
            if interrupts.count and not self._stopped:
                self._stopped = True
                client.request("abandon", job_id)
            if client.keep_alive_due:
                status = client.request("status")
        rest_at_s = self._clock()
        if status["state"] not in (codes.FINISHED, codes.TRIPPED):
            # a link that failed for a while has made it pause, or it does not come to rest
            client.request("abandon", job_id)
        return self._result(status, rest_at_s)

    def _hear(self) -> None:
        while self._client.inbox:
            received = self._client.inbox.popleft()
            # events stay unacknowledged: what belongs to an earlier job is for `wind` to record
            if received.kind == EVENT:
                continue
            fields = received.fields
            self._take_rate(fields)
            if fields["state"] == codes.WINDING:
                turns = self.plan.turns_at(fields["pulses"])
                rpm = self._rpm(fields["rate"])
                self.samples.append(MotorSample(received.sequence, turns, rpm, fields["duty"] / 1000))
            if fields["duty"]:
                self._off_at_s = None
            elif self._off_at_s is None:
                self._off_at_s = self._clock()

    def _take_rate(self, fields: dict[str, Any]) -> None:
        """Keep the fastest mean; one that is shorter than it shall be counts only where there is no other."""
        mean = self._steady.tell(fields["state"], fields["rate"])
        if self._steady.is_whole and not self._had_whole:
            self._had_whole, self._fastest = True, (0, 1.0)
        if self._steady.is_whole or not self._had_whole:
            self._fastest = max(self._fastest, (mean, self._steady.resolution))

    def _rpm(self, rate: float) -> float:
        return rate * 0.6 / float(self.plan.pulses_per_spool_turn)

    def _result(self, status: dict[str, Any], rest_at_s: float) -> MotorResult:
        word = sentence = remedy = ""
        if status["reason"]:
            word, sentence, remedy = self._client.trip_sentence()
        rate, resolution = self._fastest
        off_at_s = rest_at_s if self._off_at_s is None else self._off_at_s
        return MotorResult(
            target_pulses=self.plan.target_pulses,
            pulses=status["pulses"],
            fastest_rpm=self._rpm(rate),
            resolution_rpm=self._rpm(rate) * resolution,
            rest_s=(rest_at_s - off_at_s) / self._client.virtual(1.0),
            state=status["state"],
            trip=status["reason"],
            trip_word=word,
            trip_sentence=sentence,
            trip_remedy=remedy,
            stopped=self._stopped,
        )


def judge_motor(result: MotorResult, plan: Plan) -> list[Verdict]:
    """What the test says of the drive, the gravest first."""
    if result.trip:
        return [
            verdict(
                "motor_tripped",
                trip=result.trip_word,
                sentence=result.trip_sentence,
                remedy=result.trip_remedy,
            )
        ]
    if result.stopped:
        return [verdict("motor_stopped")]
    if result.state == codes.WAITING:
        return [verdict("motor_link_silent", seconds=f"{LINK_LOSS_S:g}")]
    overrun = result.pulses - result.target_pulses
    if overrun < -1:
        return [verdict("motor_short", missing=-overrun)]
    found = []
    if overrun > 1:
        found.append(verdict("motor_overran", overrun=overrun))
    if result.fastest_rpm + result.resolution_rpm < SLOW_SHARE * plan.cruise_rpm:
        found.append(verdict("motor_slow", rpm=f"{result.fastest_rpm:.1f}", wanted_rpm=f"{plan.cruise_rpm:.1f}"))
    if not found:
        turns = result.pulses / float(plan.pulses_per_spool_turn)
        beyond = count_of(overrun, "pulse")
        rpm = f"{result.fastest_rpm:.1f}"
        give = f"{result.resolution_rpm:.1f}"
        rest_s = f"{result.rest_s:.1f}"
        found.append(verdict("motor_right", turns=f"{turns:.2f}", overrun=beyond, rpm=rpm, give=give, rest_s=rest_s))
    if plan.job.machine.sensor == "single":
        found.append(verdict("direction_unseen"))
    return found
