"""The tables of the ledger's file, and the way from each older layout to the present one.

The file's `user_version` counts the steps it has taken. Never change a step that was released: add one.
"""

from __future__ import annotations

import sqlite3  # noqa: TC003 - the connection's class is named in signatures
from typing import TYPE_CHECKING

from reelwright.ledger.errors import ELSEWHERE, LedgerError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

APPLICATION_ID = 0x5265656C  # marks the file as ours among all SQLite files

Step = tuple[str, ...]

STEPS: tuple[Step, ...] = (
    (
        """CREATE TABLE winds (
            job_id INTEGER PRIMARY KEY,
            serial INTEGER NOT NULL UNIQUE,
            job TEXT NOT NULL,
            plan TEXT NOT NULL,
            port TEXT NOT NULL,
            board TEXT NOT NULL,
            firmware TEXT NOT NULL,
            protocol TEXT NOT NULL,
            host_version TEXT NOT NULL,
            boot INTEGER NOT NULL,
            started_at TEXT NOT NULL,
            ended_at TEXT,
            open INTEGER NOT NULL,
            result TEXT
        )""",
        """CREATE TABLE boots (
            job_id INTEGER NOT NULL REFERENCES winds,
            at TEXT NOT NULL,
            boot INTEGER NOT NULL
        )""",
        """CREATE TABLE counts (
            id INTEGER PRIMARY KEY,
            job_id INTEGER NOT NULL REFERENCES winds,
            at TEXT NOT NULL,
            pulses INTEGER NOT NULL,
            state TEXT NOT NULL
        )""",
        "CREATE INDEX counts_of_job ON counts (job_id, id)",
        """CREATE TABLE events (
            id INTEGER PRIMARY KEY,
            job_id INTEGER NOT NULL REFERENCES winds,
            at TEXT NOT NULL,
            boot INTEGER NOT NULL,
            number INTEGER NOT NULL,
            verb TEXT NOT NULL,
            sentence TEXT NOT NULL,
            remedy TEXT NOT NULL,
            fields TEXT NOT NULL
        )""",
        "CREATE UNIQUE INDEX event_once ON events (job_id, boot, number) WHERE number > 0",
        "CREATE INDEX events_of_job ON events (job_id, id)",
    ),
    (
        """CREATE TABLE checkups (
            id INTEGER PRIMARY KEY,
            port TEXT NOT NULL,
            at TEXT NOT NULL,
            report TEXT NOT NULL
        )""",
        "CREATE INDEX checkups_of_port ON checkups (port, id)",
    ),
    (
        # A boot number is drawn by the winder, and may come again: a series is one time that it was given the job.
        "ALTER TABLE winds ADD COLUMN series INTEGER NOT NULL DEFAULT 1",
        "ALTER TABLE events ADD COLUMN series INTEGER NOT NULL DEFAULT 1",
        # Events that an older program recorded are all of series 1, and told apart by their boots.
        "DROP INDEX event_once",
        "CREATE UNIQUE INDEX event_once ON events (job_id, series, boot, number) WHERE number > 0",
    ),
    (
        # A stay: the winder that a series was with. An older program kept the first one's port only.
        """CREATE TABLE stays (
            job_id INTEGER NOT NULL REFERENCES winds,
            series INTEGER NOT NULL,
            at TEXT NOT NULL,
            port TEXT NOT NULL,
            serial_number TEXT NOT NULL,
            boot INTEGER NOT NULL,
            PRIMARY KEY (job_id, series)
        )""",
        """INSERT INTO stays (job_id, series, at, port, serial_number, boot)
            WITH RECURSIVE each_one (job_id, series, at, port, boot) AS (
                SELECT job_id, series, started_at, port, boot FROM winds
                UNION ALL SELECT job_id, series - 1, at, port, boot FROM each_one WHERE series > 1
            ) SELECT job_id, series, at, port, '', boot FROM each_one""",
        # Nothing tells older counts apart: all of them are taken for the newest stay's, as they always were.
        "ALTER TABLE counts ADD COLUMN series INTEGER NOT NULL DEFAULT 1",
        "UPDATE counts SET series = (SELECT series FROM winds WHERE winds.job_id = counts.job_id)",
    ),
)


def bring_up_to_date(connection: sqlite3.Connection, path: Path, steps: Sequence[Step] = STEPS) -> None:
    """Takes the file through the steps that it lacks, all or none.

    Raises LedgerError when the file belongs to another program or to a newer reelwright.
    """
    if _version(connection, path, steps) == len(steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        version = _version(connection, path, steps)  # another program may have been faster
        for step in steps[version:]:
            for statement in step:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(steps)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _version(connection: sqlite3.Connection, path: Path, steps: Sequence[Step]) -> int:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (owner,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    is_empty = tables == 0 and version == 0 and owner == 0
    if owner != APPLICATION_ID and not is_empty:
        raise LedgerError(f"The ledger {path} is a database of another program.", f"Move that file away. {ELSEWHERE}")
    if version > len(steps):
        raise LedgerError(
            f"The ledger {path} was written by a newer reelwright: "
            f"its layout is {version}, and this one knows those up to {len(steps)}.",
            f"Update reelwright. {ELSEWHERE}",
        )
    return int(version)
