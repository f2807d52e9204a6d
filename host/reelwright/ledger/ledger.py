"""The ledger's interface, where the local one lies, and how a job gets its number."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from reelwright.ledger.errors import LedgerError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from types import TracebackType
    from typing import Self

    from reelwright.ledger.record import Count, RecordedEvent, RecordedTrip, Stay, WindRecord
    from reelwright.snapshot import Happening, WindResult

HOME_VARIABLE = "REELWRIGHT_HOME"
FILE_NAME = "ledger.sqlite3"
JOB_IDS = 2**30  # the link carries 1 to 2^30 - 1
DRAWS = 100


class Ledger(Protocol):
    """The record of winds. What a method wrote is on the disk when it returns; none is ever lost after that.

    Every method raises LedgerError when the store cannot be read or written, and when a job is written to
    that the ledger does not hold.
    """

    def __enter__(self) -> Self:
        """The ledger, open already."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Closes it."""

    def close(self) -> None:
        """Closes it. Again does nothing."""

    def open_wind(
        self,
        job_id: int,
        *,
        job: Mapping[str, object],
        plan: Mapping[str, object],
        port: str,
        board: str,
        firmware: str,
        protocol: str,
        boot: int,
        serial_number: str = "",
    ) -> None:
        """Begins the record of a job, before it starts. LedgerError when the number was used already."""

    def adopt(self, job_id: int, boot: int, *, port: str, serial_number: str = "") -> None:
        """Takes up an open job again, which the winder holds since boot number `boot`, at the port that it has now."""

    def begin_series(self, job_id: int, boot: int, *, port: str, serial_number: str = "") -> None:
        """Takes up a job that a winder is about to be given anew: after a restart, or another winder.

        The events from here on are others than those before, even where boot number and event number come again.
        """

    def stays(self, job_id: int) -> list[Stay]:
        """The winders that were given the job, one for each series, oldest first."""

    def record_count(self, job_id: int, pulses: int, state: str) -> None:
        """Adds a count to the job's history."""

    def record_event(self, job_id: int, boot: int, happening: Happening, *, series: int | None = None) -> bool:
        """Adds an event; False when it was there already, which a reconnection makes normal.

        The job's series, the present one by default, the winder's boot number and its event number name an event.
        Number 0 is a notice of the host: each is new.
        """

    def settle(self, job_id: int, result: WindResult) -> None:
        """Keeps how the wind stands at rest; the job may still go on."""

    def close_wind(self, job_id: int, result: WindResult) -> None:
        """Keeps how the wind ended; the job is over. Again replaces the result."""

    def find(self, job_id: int) -> WindRecord | None:
        """The record of a job, or None."""

    def winds(self, limit: int | None = None) -> list[WindRecord]:
        """The newest records first; all of them without a limit."""

    def counts(self, job_id: int) -> list[Count]:
        """Every count of a job, oldest first."""

    def events(self, job_id: int) -> list[RecordedEvent]:
        """Every event of a job, in the order of arrival."""

    def trips(self, port: str, since: str | None = None) -> list[RecordedTrip]:
        """Every trip told on a port after a time, in the order of arrival; all of them without a time."""

    def record_checkup(self, port: str, report: Mapping[str, object]) -> None:
        """Keeps what a checkup found of the winder on a port."""

    def last_checkup(self, port: str) -> str | None:
        """When the last checkup on a port was recorded; None before the first."""


def ledger_path() -> Path:
    """The ledger of this person on this computer; REELWRIGHT_HOME names another folder for it."""
    home = os.environ.get(HOME_VARIABLE)
    if home:
        return Path(home).expanduser() / FILE_NAME
    from platformdirs import user_data_path

    return user_data_path("reelwright", appauthor=False) / FILE_NAME


def open_ledger(path: Path | None = None) -> Ledger:
    """The ledger at `path`, by default the person's own; made with its folder where there is none yet.

    Raises LedgerError when it cannot be opened, is no ledger, or was written by a newer reelwright.
    """
    from reelwright.ledger.sqlite import SqliteLedger

    return SqliteLedger(ledger_path() if path is None else path)


def new_job_id(ledger: Ledger) -> int:
    """A random number for a new job that no job of this ledger has: 1 to 2^30 - 1.

    Random, so that two computers that take turns at one winder hardly ever draw the same.
    """
    for _ in range(DRAWS):
        job_id = 1 + secrets.randbelow(JOB_IDS - 1)
        if ledger.find(job_id) is None:
            return job_id
    raise LedgerError("No free job number was found in the ledger.", "Move the ledger's file away to begin a new one.")
