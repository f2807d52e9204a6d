"""Winds of the ledger for other programs: JSON objects and rows of comma-separated values."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING

import attrs

from reelwright.views.json_lines import FORMAT, RESULT_FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.ledger import Count, RecordedEvent, WindRecord

# Columns from the job file: name of the column -> table and key.
JOB_COLUMNS = {
    "take_up": ("take_up", "name"),
    "strand": ("strand", "name"),
    "material": ("strand", "material"),
    "diameter_mm": ("strand", "diameter_mm"),
    "barrel_diameter_mm": ("take_up", "barrel_diameter_mm"),
}
RECORD_FIELDS = ("port", "board", "firmware", "protocol", "host_version", "last_pulses", "last_state")
# What a spreadsheet takes for the beginning of a formula; tab and return lead to it as well.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def facts_for_programs(record: WindRecord) -> dict[str, object]:
    """A wind as one flat object. Fields of the result are null while there is none."""
    result = record.known
    return {
        "kind": "wind",
        "format": FORMAT,
        "job_id": record.job_id,
        "started_at": record.started_at,
        "ended_at": record.ended_at,
        "open": record.open,
        **{name: from_job(record, *where) for name, where in JOB_COLUMNS.items()},
        **{name: getattr(result, name) if result else None for name in RESULT_FIELDS if name != "job_id"},
        **{name: getattr(record, name) for name in RECORD_FIELDS},
    }


def everything_for_programs(
    record: WindRecord, counts: Sequence[Count], events: Sequence[RecordedEvent]
) -> dict[str, object]:
    """A wind as one object with its job, its plan, every count and every event."""
    return {
        **facts_for_programs(record),
        "job": record.job,
        "plan": record.plan,
        "counts": [attrs.asdict(count) for count in counts],
        "events": [
            {"at": event.at, "boot": event.boot, "series": event.series, **attrs.asdict(event.happening)}
            for event in events
        ],
    }


def from_job(record: WindRecord, table: str, key: str) -> object:
    """A value of the job file, or None where it has none."""
    values = record.job.get(table)
    return values.get(key) if isinstance(values, Mapping) else None


def csv_text(records: Sequence[WindRecord]) -> str:
    """A heading and one row a wind, as RFC 4180 has it: CRLF, quotes where needed, doubled inside.

    Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay numbers.
    """
    names = _columns()
    written = io.StringIO(newline="")
    writer = csv.writer(written)
    writer.writerow(names)
    for record in records:
        facts = facts_for_programs(record)
        writer.writerow([_cell(facts[name]) for name in names])
    return written.getvalue()


def _columns() -> tuple[str, ...]:
    result = [name for name in RESULT_FIELDS if name != "job_id"]
    return ("job_id", "started_at", "ended_at", "open", *JOB_COLUMNS, *result, *RECORD_FIELDS)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "; ".join(value)
    if isinstance(value, str) and value.startswith(FORMULA_SIGNS):
        return f"'{value}"
    return value
