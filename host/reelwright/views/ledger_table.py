"""Winds of the ledger for a person: a table on a terminal, plain columns in a pipe."""

from __future__ import annotations

import shutil
import sys
from datetime import datetime
from typing import TYPE_CHECKING, TextIO, TypeGuard, cast

from rich import box
from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from reelwright.views.ledger_rows import from_job
from reelwright.views.outlet import Outlet
from reelwright.views.quantities import UNKNOWN
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of, length_text, mass_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from reelwright.ledger import Count, RecordedEvent, WindRecord

LIST_FROM = 78  # columns that a list needs to keep its figures whole, with a few left for the spool's name
EVENTS_FROM = 60  # and a table of events, with some left for their sentences
PIPE_WIDTH = 200  # columns in a pipe, where nothing is cut
MARK = " ?"
WHAT_MARK_MEANS = "? What is on the spool is not known for certain: `reelwright ledger show NUMBER` tells what is."
NO_RESULT = "No result was kept: the host was lost while the wind ran. `reelwright wind` picks an open job up again."


def show_list(records: Sequence[WindRecord]) -> None:
    """Prints one line a wind, of which only the spool's name is wrapped; on a narrow terminal, a block a wind."""
    rows = [_list_row(record) for record in records]
    blocks: list[RenderableType] = []
    if _is_narrower_than(LIST_FROM):
        for row in rows:
            blocks += [_pairs(list(row.items())), Text()]
    else:
        table = _table()
        for name in rows[0]:
            is_name = name == "take-up"
            table.add_column(name, justify="right" if name == "job" else "left", no_wrap=not is_name, overflow="fold")
        for row in rows:
            table.add_row(*map(_text, row.values()))
        blocks.append(table)
    if any(row["stands"].endswith(MARK) for row in rows):
        blocks.append(Text(WHAT_MARK_MEANS))
    _print(Group(*blocks))


def _list_row(record: WindRecord) -> dict[str, str]:
    known = record.known
    return {
        "job": str(record.job_id),
        "started": _local(record.started_at),
        "counted, k = 2": length_text(known) if known else UNKNOWN,
        "mass, k = 2": mass_text(known) if known else UNKNOWN,
        "stands": how_it_stands(record),
        "take-up": _take_up(record),
    }


def how_it_stands(record: WindRecord) -> str:
    """A wind's standing in a word or two, with a mark where its count is not known."""
    known = record.known
    if known is None:
        return "open" if record.open else "unknown"
    word = "tripped" if known.trip else known.outcome or "may go on"
    return word if known.count_known else f"{word}{MARK}"


def _take_up(record: WindRecord) -> str:
    """The spool's name, or else its size."""
    barrel, flange = (from_job(record, "take_up", f"{part}_diameter_mm") for part in ("barrel", "flange"))
    sizes = [f"{name} {size:g} mm" for name, size in (("barrel", barrel), ("flange", flange)) if _is_number(size)]
    return str(from_job(record, "take_up", "name") or ", ".join(sizes) or UNKNOWN)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float))


def show_wind(record: WindRecord, counts: Sequence[Count], events: Sequence[RecordedEvent]) -> None:
    """Prints what is on the spool, of what job, by which winder, and what happened."""
    blocks: list[RenderableType] = [
        Text(closing_sentence(record.known) if record.known else NO_RESULT, style="bold"),
        _pairs([*_on_spool(record), *_origin(record), ("counts", _counts(record, counts))]),
    ]
    if events:
        blocks += [Text(), _events(events)]
    _print(Group(*blocks))


def _on_spool(record: WindRecord) -> list[tuple[str, str]]:
    if record.known is not None:
        return facts_of(record.known)
    last = f"{record.last_pulses} pulses, {record.last_state}" if record.last_pulses is not None else UNKNOWN
    return [("last count", last), ("job", str(record.job_id))]


def _origin(record: WindRecord) -> list[tuple[str, str]]:
    diameter = from_job(record, "strand", "diameter_mm")
    strand = [from_job(record, "strand", "name"), from_job(record, "strand", "material"), diameter and f"{diameter} mm"]
    return [
        ("strand", ", ".join(str(part) for part in strand if part) or UNKNOWN),
        ("take-up", _take_up(record)),
        ("started", _local(record.started_at)),
        ("ended", _local(record.ended_at) if record.ended_at else "not yet"),
        ("winder", f"{record.board}, firmware {record.firmware}, link {record.protocol}, at {record.port}"),
    ]


def _counts(record: WindRecord, counts: Sequence[Count]) -> str:
    """What was kept of the counts while it wound: one a second at most, so that the newest may be missing."""
    if not counts:
        return "none kept"
    last = counts[-1]
    kept = (
        f"{len(counts)} kept, one a second at most; the last {last.pulses} pulses, {last.state},"
        f" at {_local(last.at, seconds=True)}"
    )
    result = record.result
    if result is not None and result.uncertain and result.counted_pulses > last.pulses:
        return f"{kept}; soon after, {result.counted_pulses} were heard"
    return kept


def _events(events: Sequence[RecordedEvent]) -> RenderableType:
    table = _table()
    is_narrow = _is_narrower_than(EVENTS_FROM)
    table.add_column("event", justify="right", no_wrap=True)
    if not is_narrow:
        table.add_column("time", no_wrap=True)
    table.add_column("what happened", overflow="fold")
    for event in events:
        told = _text(f"{event.happening.sentence} {event.happening.remedy}".strip())
        number, at = _text(event.happening.number or ""), Text(_local(event.at, seconds=True))
        table.add_row(number, *([at.append("\n").append(told)] if is_narrow else [at, told]))
    return table


def _table() -> Table:
    if _on_terminal():
        return Table(box=box.SIMPLE_HEAD, show_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    return Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")


def _pairs(pairs: Sequence[tuple[str, str]]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for name, text in pairs:
        grid.add_row(Text(f"  {name}", style="dim"), _text(text))
    return grid


def _text(value: object) -> Text:
    return Text(plain_text(str(value)))


def _local(at: str, *, seconds: bool = False) -> str:
    """A time of the ledger in this computer's zone."""
    return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M:%S" if seconds else "%Y-%m-%d %H:%M")


def _is_narrower_than(columns: int) -> bool:
    return _on_terminal() and shutil.get_terminal_size().columns < columns


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
