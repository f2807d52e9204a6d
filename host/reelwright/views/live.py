"""The live face: one picture on the terminal, redrawn in place, that stays with the result at the end."""

from __future__ import annotations

import time
from collections import deque
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TextIO, cast

from rich.console import Console
from rich.live import Live
from rich.text import Text

from reelwright.views.keys import ONLY_END_WAIT, REST_AND_LEAVE
from reelwright.views.outlet import Outlet
from reelwright.views.screen import EVENTS_SHOWN, Screen
from reelwright.views.untrusted import plain_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import TracebackType
    from typing import Self

    from reelwright.snapshot import Happening, Snapshot, WindResult

REFRESH_PERIOD_S = 1 / 8  # faster than this nobody reads; a redraw costs some milliseconds
SHOW_CURSOR = "\x1b[?25h"


class LiveView:
    """Redraws at most eight times a second, however often it is told of progress; events are drawn at once.

    No thread: what is shown is what the last call said. `clock` tells seconds of real time, `now` the time of day.
    """

    def __init__(
        self,
        stream: TextIO,
        errors: TextIO,
        heading: str,
        *,
        keys: Sequence[tuple[str, str]] = REST_AND_LEAVE,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        width: int | None = None,
    ) -> None:
        self._outlet = Outlet(stream, errors)
        self._console = Console(
            file=cast("TextIO", self._outlet), width=width, highlight=False, markup=False, emoji=False
        )
        self._heading = heading
        self._keys = keys
        self._clock = clock
        self._now = now
        self._heard_at = now()
        self._is_silent = False
        self._drawn_s: float | None = None
        self._snapshot: Snapshot | None = None
        self._happenings: deque[Happening] = deque(maxlen=EVENTS_SHOWN)
        self._result: WindResult | None = None
        self._size = self._console.size
        self._live = Live(
            get_renderable=self._screen,
            console=self._console,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=errors.isatty(),
        )

    def __enter__(self) -> Self:
        self._live.start(refresh=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._keys = ()  # they no longer work
        # a picture of nothing does not stay: what went wrong is told below it
        self._live.transient = self._snapshot is None and self._result is None and not self._happenings
        try:
            self._live.stop()
        finally:
            # A second Ctrl-C can end the last redraw half-way; the cursor comes back all the same.
            if self._console.is_terminal:
                self._outlet.write(SHOW_CURSOR)
            self._outlet.flush()

    def progress(self, snapshot: Snapshot) -> None:
        """Kept always, drawn when the last redraw is old enough."""
        self._snapshot = snapshot
        self._heard_at = self._now()
        if self._is_silent:
            self._is_silent, self._drawn_s = False, None
        now_s = self._clock()
        if self._drawn_s is None or now_s - self._drawn_s >= REFRESH_PERIOD_S:
            self._drawn_s = now_s
            self._draw()

    def silence(self) -> None:
        """Drawn at once: the state and the speeds on the screen are no longer those of the winder."""
        self._is_silent = True
        self._draw()

    def event(self, happening: Happening) -> None:
        """Joins the last few below the figures."""
        self._happenings.append(happening)
        self._draw()

    def notice(self, text: str) -> None:
        """A line above the picture, which scrolls away with the rest of the terminal's history."""
        self._console.print(Text(f"note: {plain_text(text)}"))

    def result(self, result: WindResult) -> None:
        """Takes the place of the keys, and stays on the terminal."""
        self._result = result
        self._draw()

    def _draw(self) -> None:
        size = self._console.size
        if size != self._size and self._console.is_terminal:
            # the terminal has broken the old picture's lines anew, so nobody knows how far up it begins
            self._console.clear()
        self._size = size
        self._live.refresh()

    def _screen(self) -> Screen:
        keys = ONLY_END_WAIT if self._is_silent and self._keys else self._keys
        last_heard = self._heard_at.astimezone().strftime("%H:%M:%S") if self._is_silent else ""
        return Screen(self._heading, self._snapshot, tuple(self._happenings), self._result, keys, last_heard)
