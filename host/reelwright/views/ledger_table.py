"""Winds of the ledger for a person: a table on a terminal, plain columns in a pipe."""

from __future__ import annotations

import shutil
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

LIST_FROM = 78  # columns that a list needs to keep its figures whole, with a few left for the spool's name
PIPE_WIDTH = 200  # columns in a pipe, where nothing is cut
NO_RESULT = "No result was kept: the host was lost while the wind ran. `reelwright wind` picks an open job up again."


def show_list(records: Sequence[WindRecord]) -> None:
    """Prints one line a wind. Only the spool's name is wrapped, unless the terminal is narrower than the rest."""
    table = _table()
    is_narrow = _on_terminal() and shutil.get_terminal_size().columns < LIST_FROM
    for name in ("job", "started", "counted, k = 2", "mass, k = 2", "stands"):
        table.add_column(name, justify="right" if name == "job" else "left", no_wrap=not is_narrow, overflow="fold")
    table.add_column("take-up", overflow="fold")
    for record in records:
        result = record.result
        facts = (
            record.job_id,
            _local(record.started_at),
            with_uncertainty(result.length_m, result.length_u_m, "m") if result else UNKNOWN,
            with_uncertainty(result.mass_g, result.mass_u_g, "g") if result else UNKNOWN,
            how_it_stands(record),
            from_job(record, "take_up", "name") or "",
        )
        table.add_row(*map(_text, facts))
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
    if _on_terminal():
        return Table(box=box.SIMPLE_HEAD, show_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    return Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")


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


def _on_terminal() -> bool:
    return Outlet(sys.stdout, sys.stderr).isatty()


def _print(renderable: RenderableType) -> None:
    outlet = Outlet(sys.stdout, sys.stderr, fails=True)
    is_terminal = _on_terminal()
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
