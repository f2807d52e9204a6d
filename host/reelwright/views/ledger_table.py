"""Winds of the ledger for a person: a table on a terminal, plain columns in a pipe."""

from __future__ import annotations

import sys
from datetime import datetime
from typing import TYPE_CHECKING, TextIO, cast

from rich import box
from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from reelwright.views.ledger_rows import from_job
from reelwright.views.outlet import Outlet
from reelwright.views.quantities import UNKNOWN, count_of, with_uncertainty
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from reelwright.ledger import Count, RecordedEvent, WindRecord

PIPE_WIDTH = 200  # columns in a pipe, where nothing is cut
NO_RESULT = "No result was kept: the host was lost while the wind ran. `reelwright wind` picks an open job up again."


def show_list(records: Sequence[WindRecord]) -> None:
    """Prints one line a wind."""
    table = _table()
    for name in ("job", "started", "counted, k = 2", "mass, k = 2", "layers", "stands", "take-up"):
        table.add_column(name, justify="right" if name in ("job", "layers") else "left")
    for record in records:
        result = record.result
        table.add_row(
            *map(
                _text,
                (
                    record.job_id,
                    _local(record.started_at),
                    with_uncertainty(result.length_m, result.length_u_m, "m") if result else UNKNOWN,
                    with_uncertainty(result.mass_g, result.mass_u_g, "g") if result else UNKNOWN,
                    result.layers if result else UNKNOWN,
                    how_it_stands(record),
                    from_job(record, "take_up", "name") or "",
                ),
            )
        )
    _print(table)


def how_it_stands(record: WindRecord) -> str:
    """A wind's standing in a word or two."""
    if record.result is None:
        return "open" if record.open else "unknown"
    if record.result.trip:
        return "tripped"
    return record.result.outcome or "may go on"


def show_wind(record: WindRecord, counts: Sequence[Count], events: Sequence[RecordedEvent]) -> None:
    """Prints what is on the spool, of what job, by which winder, and what happened."""
    blocks: list[RenderableType] = [
        Text(closing_sentence(record.result) if record.result else NO_RESULT, style="bold"),
        _pairs([*_on_spool(record), *_origin(record), ("counts", _counts(counts))]),
    ]
    if events:
        blocks += [Text(), _events(events)]
    _print(Group(*blocks))


def _on_spool(record: WindRecord) -> list[tuple[str, str]]:
    if record.result is not None:
        return facts_of(record.result)
    last = f"{record.last_pulses} pulses, {record.last_state}" if record.last_pulses is not None else UNKNOWN
    return [("last count", last), ("job", str(record.job_id))]


def _origin(record: WindRecord) -> list[tuple[str, str]]:
    diameter = from_job(record, "strand", "diameter_mm")
    strand = [from_job(record, "strand", "name"), from_job(record, "strand", "material"), diameter and f"{diameter} mm"]
    return [
        ("strand", ", ".join(str(part) for part in strand if part) or UNKNOWN),
        ("take-up", str(from_job(record, "take_up", "name") or UNKNOWN)),
        ("started", _local(record.started_at)),
        ("ended", _local(record.ended_at) if record.ended_at else "not yet"),
        ("winder", f"{record.board}, firmware {record.firmware}, link {record.protocol}, at {record.port}"),
    ]


def _counts(counts: Sequence[Count]) -> str:
    if not counts:
        return "none kept"
    first, last = counts[0], counts[-1]
    return f"{count_of(len(counts), 'count')} kept, from {first.pulses} to {last.pulses} pulses, the last {last.state}"


def _events(events: Sequence[RecordedEvent]) -> RenderableType:
    table = _table()
    for name in ("event", "time", "what happened"):
        table.add_column(name, justify="right" if name == "event" else "left")
    for event in events:
        told = f"{event.happening.sentence} {event.happening.remedy}".strip()
        table.add_row(*map(_text, (event.happening.number or "", _local(event.at, seconds=True), told)))
    return table


def _table() -> Table:
    return Table(box=box.SIMPLE_HEAD if sys.stdout.isatty() else None, pad_edge=False, header_style="bold")


def _pairs(pairs: Sequence[tuple[str, str]]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for name, text in pairs:
        grid.add_row(Text(f"  {name}", style="dim"), _text(text))
    return grid


def _text(value: object) -> Text:
    return Text(plain_text(str(value)))


def _local(at: str, *, seconds: bool = False) -> str:
    """A time of the ledger in this computer's zone."""
    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M:%S" if seconds else "%Y-%m-%d %H:%M")


def _print(renderable: RenderableType) -> None:
    outlet = Outlet(sys.stdout, sys.stderr)
    is_terminal = outlet.isatty()
    console = Console(
        file=cast("TextIO", outlet),
        width=None if is_terminal else PIPE_WIDTH,
        force_terminal=is_terminal,
        highlight=False,
        markup=False,
        emoji=False,
    )
    if is_terminal:
        console.print(renderable)
        return
    with console.capture() as captured:
        console.print(renderable)
    for line in captured.get().splitlines():
        outlet.line(line.rstrip())
