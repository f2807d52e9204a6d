"""The live picture of a wind as something rich can draw at any width from 40 columns. No terminal is touched here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen
from rich.console import Group
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from reelwright.views.keys import REST_AND_LEAVE
from reelwright.views.quantities import UNKNOWN, duration, number, turns_text
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of, saying_of_state

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from reelwright.snapshot import Happening, Snapshot, WindResult

WIDE_FROM = 64  # columns from which label, bar and figures share a line
WIDEST = 100  # columns beyond which longer bars tell nothing more
EVENTS_SHOWN = 5

# The word is always written out, so that colour is never the only sign.
STATE_STYLES = {
    "empty": "bold reverse",
    "loaded": "bold black on cyan",
    "winding": "bold black on green",
    "easing": "bold black on yellow",
    "waiting": "bold black on yellow",
    "finished": "bold black on green",
    "tripped": "bold white on red",
}


@frozen
class Screen:
    """All that the live view shows at one moment. Text in it may come from outside; it is made safe here."""

    heading: str
    snapshot: Snapshot | None
    happenings: Sequence[Happening] = ()  # oldest first
    result: WindResult | None = None
    keys: Sequence[tuple[str, str]] = REST_AND_LEAVE  # that work now, each with its word
    last_heard: str = ""  # the time of day of the snapshot, where nothing has been heard since

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draws the picture into the width that the terminal has now."""
        width = min(options.max_width, WIDEST)
        wide = width >= WIDE_FROM
        blocks: list[RenderableType] = [Text(plain_text(self.heading), style="bold", overflow="ellipsis", no_wrap=True)]
        if self.snapshot is None and self.result is None:
            blocks += [Text("Nothing heard from the winder yet.", style="dim")]
        elif self.snapshot is not None:
            blocks += [_state(self.snapshot.state, self.last_heard), Text(), _bars(self.snapshot, wide), Text()]
            blocks += [_figures(self.snapshot, wide, is_past=bool(self.last_heard))]
        if self.happenings:
            blocks += [Text(), _happenings(self.happenings[-EVENTS_SHOWN:])]
        if self.result is not None:
            blocks += [Text(), _result(self.result)]
        elif self.keys:
            blocks += [Text(), _key_hints(self.keys)]
        yield from console.render(Group(*blocks), options.update(width=width))


def _state(word: str, last_heard: str) -> RenderableType:
    saying = saying_of_state(word)
    row = Table.grid(padding=(0, 2, 0, 0))
    row.add_column(no_wrap=True)
    row.add_column()
    word_text = Text(f" {plain_text(word)} ", style=STATE_STYLES.get(word, "bold reverse"))
    if last_heard:
        row.add_row(Text(" not heard ", style="bold reverse"), Text(f"Last heard at {last_heard}: {plain_text(word)}."))
    else:
        row.add_row(word_text, Text(saying.sentence if saying else ""))
    return row


def _bars(snapshot: Snapshot, wide: bool) -> RenderableType:
    rows = [
        (f"layer {snapshot.layer} of {snapshot.layers_planned}", snapshot.layer_turns, snapshot.layer_turns_planned),
        ("whole job", snapshot.turns, snapshot.turns_planned),
    ]
    if wide:
        grid = Table.grid(expand=True, padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(ratio=1)
        grid.add_column(justify="right", no_wrap=True)
        for label, done, planned in rows:
            grid.add_row(Text(label), _bar(done, planned), _done_of(done, planned))
        return grid
    grid = Table.grid(expand=True)
    grid.add_column(ratio=1)
    for label, done, planned in rows:
        grid.add_row(Text.assemble(label, "  ", _done_of(done, planned)))
        grid.add_row(_bar(done, planned))
    return grid


def _bar(done: float, planned: float) -> ProgressBar:
    full = planned if planned > 0 else 1.0  # a plan without turns is an empty bar, not an endless one
    return ProgressBar(total=full, completed=min(max(done, 0.0), full), complete_style="cyan", finished_style="green")


def _done_of(done: float, planned: float) -> Text:
    planned_text = turns_text(planned)
    return Text.assemble((turns_text(done).rjust(len(planned_text)), "bold"), f" of {planned_text} turns")


def _figures(snapshot: Snapshot, wide: bool, *, is_past: bool) -> RenderableType:
    to_stop_turns = max(snapshot.next_stop_turns - snapshot.turns, 0.0)
    counted = Text.assemble((number(snapshot.length_m, 2), "bold"), f" of {number(snapshot.length_planned_m, 2)} m")
    left = [
        ("counted", counted),
        ("next stop", Text.assemble("in ", (turns_text(to_stop_turns), "bold"), " turns")),
        ("time left", Text(duration(None if is_past else snapshot.seconds_left), style="bold")),
    ]
    right = [
        ("line speed", Text.assemble((UNKNOWN if is_past else number(snapshot.line_speed_m_s, 2), "bold"), " m/s")),
        ("spool", Text.assemble((UNKNOWN if is_past else number(snapshot.mean_rpm, 1), "bold"), " rpm")),
        ("", Text()),
    ]
    grid = Table.grid(padding=(0, 2, 0, 0))
    if not wide:
        for name, text in [*left, *right[:2]]:
            grid.add_row(Text(name, style="dim"), text)
        return grid
    grid.add_column(min_width=12)
    grid.add_column(min_width=28)
    for (name, text), (other_name, other_text) in zip(left, right, strict=True):
        grid.add_row(Text(name, style="dim"), text, Text(other_name, style="dim"), other_text)
    return grid


def _happenings(happenings: Sequence[Happening]) -> RenderableType:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(justify="right", no_wrap=True, style="dim")
    grid.add_column()
    newest = len(happenings) - 1
    for index, happening in enumerate(happenings):
        number_text = Text(str(happening.number) if happening.number else "")
        # The newest is told whole, with what to do. The older ones keep to a line, so that the picture stays still.
        told = f"{happening.sentence} {happening.remedy}" if index == newest else happening.sentence
        text = Text(plain_text(told), no_wrap=index != newest, overflow="fold" if index == newest else "ellipsis")
        grid.add_row(number_text, text)
    return grid


def _result(result: WindResult) -> RenderableType:
    sentence = Text(plain_text(closing_sentence(result)), style="bold red" if result.trip else "bold")
    grid = Table.grid(padding=(0, 2, 0, 0))
    for name, text in facts_of(result):
        grid.add_row(Text(name, style="dim"), Text(plain_text(text)))
    return Group(sentence, grid)


def _key_hints(keys: Sequence[tuple[str, str]]) -> Text:
    return Text("   ").join(Text.assemble((key, "bold cyan"), " ", (word, "dim")) for key, word in keys)
