"""Winds of the ledger for a person."""

from __future__ import annotations

import sys
from datetime import datetime
from typing import TYPE_CHECKING, TextIO, TypeGuard, cast

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from reelwright.views.ledger_rows import from_job
from reelwright.views.outlet import Outlet
from reelwright.views.quantities import UNKNOWN, number
from reelwright.views.tables import Column, FigureTable
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of, length_text, mass_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from reelwright.ledger import Count, RecordedEvent, WindRecord

PIPE_WIDTH = 200  # columns in a pipe, where nothing is cut
MARK = " ?"
WHAT_MARK_MEANS = "? What is on the spool is not known for certain: `reelwright ledger show NUMBER` tells what is."
NO_RESULT = "No result was kept: the host was lost while the wind ran. `reelwright wind` picks an open job up again."


def show_list(records: Sequence[WindRecord]) -> None:
    """Prints a table, one line a wind."""
    has_agreed = any(record.known is not None and record.known.agreed_within_turns for record in records)
    table = FigureTable(
        Column("job"),
        Column("started"),
        Column("counted,\nk = 2"),
        Column("mass,\nk = 2"),
        Column("stands"),
        *([Column("agreed\nwithin", "turns")] if has_agreed else []),
        Column("take-up", words=True),
    )
    standings = [how_it_stands(record) for record in records]
    for record, stands in zip(records, standings, strict=True):
        known = record.known
        agreed = number(known.agreed_within_turns, 2) if known and known.agreed_within_turns else ""
        table.add_row(
            str(record.job_id),
            _local(record.started_at),
            length_text(known) if known else UNKNOWN,
            mass_text(known) if known else UNKNOWN,
            plain_text(stands),
            *([agreed] if has_agreed else []),
            plain_text(_take_up(record)),
        )
    blocks: list[RenderableType] = [table]
    if any(stands.endswith(MARK) for stands in standings):
        blocks.append(Text(WHAT_MARK_MEANS))
    _print(Group(*blocks))


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
        blocks.append(_events(events))
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
    """What was kept of the counts while it wound: about one a second, so that the newest may be missing."""
    if not counts:
        return "none kept"
    last = counts[-1]
    kept = (
        f"{len(counts)} kept, about one a second; the last {last.pulses} pulses, {last.state},"
        f" at {_local(last.at, seconds=True)}"
    )
    result = record.result
    if result is not None and result.uncertain and result.counted_pulses > last.pulses:
        return f"{kept}; soon after, {result.counted_pulses} were heard"
    return kept


def _events(events: Sequence[RecordedEvent]) -> FigureTable:
    table = FigureTable(Column("event"), Column("time"), Column("what happened", words=True))
    for event in events:
        told = f"{event.happening.sentence} {event.happening.remedy}".strip()
        table.add_row(str(event.happening.number or ""), _local(event.at, seconds=True), plain_text(told))
    return table


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
