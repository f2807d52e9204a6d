"""Lines for pipes and logs: one an event, at most one a second of progress, no control characters."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, TextIO

from reelwright.views.outlet import Outlet
from reelwright.views.quantities import duration, number, turns_text
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType
    from typing import Self

    from reelwright.snapshot import Happening, Snapshot, WindResult

PROGRESS_PERIOD_S = 1.0


class PlainView:
    """One fact a line. `clock` tells seconds of real time, for the pace of progress lines."""

    def __init__(
        self, stream: TextIO, errors: TextIO, heading: str, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._outlet = Outlet(stream, errors)
        self._heading = plain_text(heading)
        self._clock = clock
        self._shown_s: float | None = None
        self._shown: Snapshot | None = None

    def __enter__(self) -> Self:
        if self._heading:
            self._outlet.line(self._heading)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._outlet.flush()

    def progress(self, snapshot: Snapshot) -> None:
        """At most one line a second, and none that says again what the last one said."""
        now_s = self._clock()
        too_soon = self._shown_s is not None and now_s - self._shown_s < PROGRESS_PERIOD_S
        if too_soon or snapshot == self._shown:
            return
        self._shown_s = now_s
        self._shown = snapshot
        self._outlet.line(progress_line(snapshot))

    def silence(self) -> None:
        """Nothing: each line is of its own moment, and a notice tells."""

    def event(self, happening: Happening) -> None:
        """One line, with its number when the winder gave it one."""
        number_text = f" {happening.number}" if happening.number else ""
        told = f"{happening.sentence} {happening.remedy}".strip()
        self._outlet.line(plain_text(f"event{number_text}: {told}"))

    def notice(self, text: str) -> None:
        """One line."""
        self._outlet.line(f"note: {plain_text(text)}")

    def result(self, result: WindResult) -> None:
        """The closing sentence, then one fact a line."""
        self._outlet.line(f"result: {plain_text(closing_sentence(result))}")
        for name, text in facts_of(result):
            self._outlet.line(f"  {name}: {plain_text(text)}")


def progress_line(snapshot: Snapshot) -> str:
    """A snapshot on one line."""
    parts = [
        plain_text(snapshot.state),
        f"layer {snapshot.layer} of {snapshot.layers_planned}",
        f"{turns_text(snapshot.layer_turns)} of {turns_text(snapshot.layer_turns_planned)} turns of the layer",
        f"{turns_text(snapshot.turns)} of {turns_text(snapshot.turns_planned)} turns",
        f"{number(snapshot.length_m, 2)} of {number(snapshot.length_planned_m, 2)} m",
        f"{number(snapshot.mean_rpm, 1)} rpm",
        f"{number(snapshot.line_speed_m_s, 2)} m/s",
    ]
    if snapshot.seconds_left is not None:
        parts.append(f"{duration(snapshot.seconds_left)} left")
    return f"progress: {', '.join(parts)}"
