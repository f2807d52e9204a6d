"""The ledger in one SQLite file of this computer.

Write-ahead log with synchronous = FULL: a row is on the disk when its method returns, and a reader never holds up
a wind. A commit costs a fraction of a millisecond to a few, by the disk.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import attrs

from reelwright import __version__
from reelwright.json_text import json_text
from reelwright.ledger.errors import LedgerError, told
from reelwright.ledger.layout import bring_up_to_date
from reelwright.ledger.record import Count, RecordedEvent, RecordedTrip, Stay, WindRecord
from reelwright.snapshot import Happening, WindResult

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path
    from types import TracebackType
    from typing import Self

BUSY_S = 2.0  # how long another program's write is waited for: less than a winder waits for a word of its host

_MOST_BITS = 63  # of a number that SQLite keeps

_RECORD = """SELECT winds.*, last.pulses AS last_pulses, last.state AS last_state, last.at AS last_count_at
    FROM winds LEFT JOIN counts AS last
    ON last.id = (SELECT max(id) FROM counts WHERE counts.job_id = winds.job_id)"""


class SqliteLedger:
    """A `Ledger` in one file. May be used from several threads. `now` tells the time, in UTC."""

    def __init__(
        self, path: Path, *, now: Callable[[], datetime] = lambda: datetime.now(UTC), busy_s: float = BUSY_S
    ) -> None:
        self._path = path
        self._now = now
        self._lock = threading.RLock()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as failure:
            raise LedgerError(
                f"The folder {path.parent} for the ledger cannot be made: {failure.strerror}.",
                "Make it yourself, or set REELWRIGHT_HOME to a folder that you may write.",
            ) from failure
        with self._failures_told():
            # Autocommit: each statement is its own transaction, unless one is begun.
            self._connection = sqlite3.connect(path, timeout=busy_s, isolation_level=None, check_same_thread=False)
        try:
            with self._failures_told():
                self._connection.row_factory = sqlite3.Row
                self._connection.execute("PRAGMA synchronous = FULL")
                self._connection.execute("PRAGMA foreign_keys = ON")
                bring_up_to_date(self._connection, path)
                # Last, so that the file of another program is left as it is.
                self._turn_on_log(busy_s)
        except BaseException:
            self._connection.close()
            raise

    def _turn_on_log(self, busy_s: float) -> None:
        """SQLite does not wait for the lock of this one statement: wait here for whoever makes the file just now."""
        give_up_at_s = time.monotonic() + busy_s
        while True:
            try:
                self._connection.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError:
                if time.monotonic() > give_up_at_s:
                    raise
                time.sleep(0.02)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file. Again does nothing."""
        with self._lock:
            self._connection.close()

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
        at = self._at()
        row = (job_id, json_text(job), json_text(plan), port, board, firmware, protocol, __version__, boot, at)
        with self._changing() as connection:
            if connection.execute("SELECT 1 FROM winds WHERE job_id = ?", (job_id,)).fetchone():
                raise LedgerError(f"The ledger {self._path} holds a job {job_id} already.", "Draw another number.")
            connection.execute(
                "INSERT INTO winds (job_id, job, plan, port, board, firmware, protocol, host_version, boot, started_at,"
                " open, serial)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 1, (SELECT coalesce(max(serial), 0) + 1 FROM winds))",
                row,
            )
            connection.execute("INSERT INTO boots VALUES (?, ?, ?)", (job_id, at, boot))
            connection.execute(
                "INSERT INTO stays (job_id, series, at, port, serial_number, boot) VALUES (?, 1, ?, ?, ?, ?)",
                (job_id, at, port, serial_number, boot),
            )

    def adopt(self, job_id: int, boot: int, *, port: str, serial_number: str = "") -> None:
        """Takes up a job again, which the winder holds since boot number `boot`; the record is open again."""
        with self._changing(job_id) as connection:
            connection.execute(
                "UPDATE winds SET boot = ?, port = ?, open = 1, ended_at = NULL WHERE job_id = ?", (boot, port, job_id)
            )
            connection.execute(
                "UPDATE stays SET boot = ?, port = ?, serial_number = ?"
                " WHERE job_id = ? AND series = (SELECT series FROM winds WHERE winds.job_id = stays.job_id)",
                (boot, port, serial_number, job_id),
            )
            connection.execute("INSERT INTO boots VALUES (?, ?, ?)", (job_id, self._at(), boot))

    def begin_series(self, job_id: int, boot: int, *, port: str, serial_number: str = "") -> None:
        """Takes up a job that a winder is about to be given anew; the record is open again."""
        with self._changing(job_id) as connection:
            connection.execute(
                "UPDATE winds SET boot = ?, port = ?, series = series + 1, open = 1, ended_at = NULL WHERE job_id = ?",
                (boot, port, job_id),
            )
            connection.execute(
                "INSERT INTO stays (job_id, series, at, port, serial_number, boot)"
                " SELECT job_id, series, ?, ?, ?, ? FROM winds WHERE job_id = ?",
                (self._at(), port, serial_number, boot, job_id),
            )
            connection.execute("INSERT INTO boots VALUES (?, ?, ?)", (job_id, self._at(), boot))

    def stays(self, job_id: int) -> list[Stay]:
        """The winders that were given the job, one for each series, oldest first."""
        rows = self._rows(
            "SELECT series, at, port, serial_number, boot FROM stays WHERE job_id = ? ORDER BY series", job_id
        )
        return [Stay(**row) for row in rows]

    def record_count(self, job_id: int, pulses: int, state: str) -> None:
        """Adds a count to the job's history."""
        with self._changing(job_id) as connection:
            connection.execute(
                "INSERT INTO counts (job_id, series, at, pulses, state)"
                " SELECT job_id, series, ?, ?, ? FROM winds WHERE job_id = ?",
                (self._at(), pulses, state, job_id),
            )

    def record_event(self, job_id: int, boot: int, happening: Happening, *, series: int | None = None) -> bool:
        """Adds an event; False when it was there already. Number 0, a notice of the host, is always new."""
        row = (
            series,
            self._at(),
            boot,
            happening.number,
            happening.verb,
            happening.sentence,
            happening.remedy,
            json_text(happening.fields),
            job_id,
        )
        with self._changing(job_id) as connection:
            written = connection.execute(
                "INSERT INTO events (job_id, series, at, boot, number, verb, sentence, remedy, fields)"
                " SELECT job_id, coalesce(?, series), ?, ?, ?, ?, ?, ?, ? FROM winds WHERE job_id = ?"
                " ON CONFLICT DO NOTHING",
                row,
            )
            return written.rowcount == 1

    def settle(self, job_id: int, result: WindResult) -> None:
        """Keeps how the wind stands at rest; the job may still go on."""
        self._keep(job_id, result, "UPDATE winds SET result = ? WHERE job_id = ?")

    def close_wind(self, job_id: int, result: WindResult) -> None:
        """Keeps how the wind ended; the job is over. Again replaces the result, and keeps the first end's time."""
        self._keep(
            job_id,
            result,
            "UPDATE winds SET result = ?, open = 0, ended_at = coalesce(ended_at, ?) WHERE job_id = ?",
            self._at(),
        )

    def _keep(self, job_id: int, result: WindResult, statement: str, *more: str) -> None:
        with self._changing(job_id) as connection:
            connection.execute(statement, (json_text(attrs.asdict(result)), *more, job_id))

    def find(self, job_id: int) -> WindRecord | None:
        """The record of a job, or None."""
        if job_id.bit_length() > _MOST_BITS:
            return None  # a person may ask for any number
        rows = self._rows(f"{_RECORD} WHERE winds.job_id = ?", job_id)
        return _record(rows[0]) if rows else None

    def winds(self, limit: int | None = None) -> list[WindRecord]:
        """The newest records first; all of them without a limit."""
        return [
            _record(row)
            for row in self._rows(f"{_RECORD} ORDER BY serial DESC LIMIT ?", -1 if limit is None else limit)
        ]

    def counts(self, job_id: int) -> list[Count]:
        """Every count of a job, oldest first."""
        rows = self._rows("SELECT at, pulses, state, series FROM counts WHERE job_id = ? ORDER BY id", job_id)
        return [Count(**row) for row in rows]

    def events(self, job_id: int) -> list[RecordedEvent]:
        """Every event of a job, in the order of arrival."""
        return [_event(row) for row in self._rows("SELECT * FROM events WHERE job_id = ? ORDER BY id", job_id)]

    def trips(self, port: str, since: str | None = None) -> list[RecordedTrip]:
        """Every trip told on a port after a time, in the order of arrival; all of them without a time."""
        rows = self._rows(
            "SELECT events.* FROM events JOIN stays USING (job_id, series)"
            " WHERE stays.port = ? AND events.verb = 'tripped' AND events.at > ? ORDER BY events.id",
            port,
            since or "",
        )
        return [RecordedTrip(row["job_id"], _event(row)) for row in rows]

    def record_checkup(self, port: str, report: Mapping[str, object]) -> None:
        """Keeps what a checkup found of the winder on a port."""
        with self._changing() as connection:
            connection.execute(
                "INSERT INTO checkups (port, at, report) VALUES (?, ?, ?)", (port, self._at(), json_text(report))
            )

    def last_checkup(self, port: str) -> str | None:
        """When the last checkup on a port was recorded; None before the first."""
        rows = self._rows("SELECT at FROM checkups WHERE port = ? ORDER BY id DESC LIMIT 1", port)
        return str(rows[0]["at"]) if rows else None

    def _at(self) -> str:
        return self._now().astimezone(UTC).isoformat(timespec="milliseconds")

    def _rows(self, query: str, *values: int | str) -> list[dict[str, Any]]:
        with self._lock, self._failures_told():
            return [dict(row) for row in self._connection.execute(query, values)]

    @contextmanager
    def _changing(self, job_id: int | None = None) -> Iterator[sqlite3.Connection]:
        """One transaction, on the disk when it ends. With a job_id, the ledger must hold that job."""
        with self._lock, self._failures_told():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                self._require(job_id)
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _require(self, job_id: int | None) -> None:
        known = job_id is None or self._connection.execute("SELECT 1 FROM winds WHERE job_id = ?", (job_id,)).fetchone()
        if not known:
            raise LedgerError(
                f"The ledger {self._path} holds no job {job_id}.", "`reelwright ledger list` shows the jobs it holds."
            )

    @contextmanager
    def _failures_told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as failure:
            in_words = told(self._path, failure)
            if in_words is None:
                raise
            raise in_words from failure


def _event(row: dict[str, Any]) -> RecordedEvent:
    happening = Happening(row["number"], row["verb"], row["sentence"], json.loads(row["fields"]), row["remedy"])
    return RecordedEvent(row["at"], row["boot"], row["series"], happening)


def _record(row: dict[str, Any]) -> WindRecord:
    result = json.loads(row["result"]) if row["result"] else None
    return WindRecord(
        job_id=row["job_id"],
        job=json.loads(row["job"]),
        plan=json.loads(row["plan"]),
        port=row["port"],
        board=row["board"],
        firmware=row["firmware"],
        protocol=row["protocol"],
        host_version=row["host_version"],
        boot=row["boot"],
        series=row["series"],
        started_at=row["started_at"],
        ended_at=row["ended_at"],
        open=bool(row["open"]),
        last_pulses=row["last_pulses"],
        last_state=row["last_state"] or "",
        last_count_at=row["last_count_at"],
        result=WindResult(**result) if result else None,
    )
