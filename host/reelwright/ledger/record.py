"""What the ledger holds. Times are UTC in ISO 8601, as "2031-05-04T09:30:00.000+00:00"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve, frozen

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reelwright.snapshot import Happening, WindResult


@frozen
class WindRecord:
    """One wind as it stands in the ledger."""

    job_id: int
    job: Mapping[str, object]  # the job file's content
    plan: Mapping[str, object]  # the plan's answer at the start
    port: str  # of the winder that was given the job last
    board: str
    firmware: str
    protocol: str
    host_version: str
    boot: int  # boot number of the winder that held the job last
    series: int  # how often a winder was given the job: 1, and one more after each restart
    started_at: str
    ended_at: str | None
    open: bool  # the job may go on in the winder
    last_pulses: int | None  # the last count heard, None before the first
    last_state: str  # word of the state heard with it, "" before the first
    last_count_at: str | None
    result: WindResult | None

    @property
    def known(self) -> WindResult | None:
        """The result as far as it still holds: the least, where the wind was heard to go on after it was kept."""
        result = self.result
        if result is not None and result.length_highest_m is None:
            # a ledger of before these ends were kept has the phase of a count that was not confirmed
            result = evolve(result, phase_turns=None)
        if result is not None and result.agreed_within_turns:
            result = evolve(result, count_known=False)  # a ledger of before this was kept calls it known
        if result is None or not self.open or self.last_pulses is None:
            return result
        # a result of rest was kept with a count in its own state
        was_left = not result.uncertain and self.last_state != result.state
        if self.last_pulses <= result.counted_pulses and not was_left:
            return result
        return evolve(
            result,
            state=self.last_state,
            trip="",
            uncertain=True,
            phase_turns=None,
            count_known=False,
            length_highest_m=None,
            mass_highest_g=None,
            turns_highest=None,
            turns_likely=None,
        )


@frozen
class Stay:
    """One time that a winder was given a job. serial_number: of its USB device, "" where the system knows none."""

    series: int
    at: str
    port: str
    serial_number: str
    boot: int


@frozen
class Count:
    """One count as heard while winding, in a series of the job."""

    at: str
    pulses: int  # signed, of this job
    state: str
    series: int = 1


@frozen
class RecordedEvent:
    """An event with the time of its arrival, and the boot number and the series of the winder that sent it."""

    at: str
    boot: int
    series: int
    happening: Happening


@frozen
class RecordedTrip:
    """A trip, with the job during which it was told."""

    job_id: int
    event: RecordedEvent
