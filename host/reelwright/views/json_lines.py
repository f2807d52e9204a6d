"""One JSON object a line, for scripts. Each carries `format`, which rises when a field changes its meaning or goes."""

from __future__ import annotations

from typing import TYPE_CHECKING, TextIO

from reelwright.json_text import json_text
from reelwright.views.outlet import Outlet
from reelwright.views.untrusted import plain_text

if TYPE_CHECKING:
    from collections.abc import Mapping
    from types import TracebackType
    from typing import Self

    from reelwright.snapshot import Happening, Snapshot, WindResult

FORMAT = 1
OURS = ("kind", "format", "number", "verb", "sentence", "remedy")  # no field of an event can replace these

PROGRESS_FIELDS = (
    "state",
    "layer",
    "layer_turns",
    "turns",
    "length_m",
    "rpm",
    "line_speed_m_s",
    "seconds_left",
    "mean_rpm",
)
RESULT_FIELDS = (
    "state",
    "outcome",
    "target_pulses",
    "counted_pulses",
    "overshoot_pulses",
    "turns",
    "layers",
    "length_m",
    "length_u_m",
    "mass_g",
    "mass_u_g",
    "job_id",
    "trip",
    "uncertain",
    "uncertain_turns",
    "phase_turns",
    "doubts",
    "count_known",
    "length_lowest_m",
    "length_highest_m",
    "mass_lowest_g",
    "mass_highest_g",
    "agreed_within_turns",
    "turns_lowest",
    "turns_highest",
    "turns_likely",
)


class JsonView:
    """Every progress, event and result as an object on a line, flushed at once; notices go to `errors`."""

    def __init__(self, stream: TextIO, errors: TextIO) -> None:
        self._outlet = Outlet(stream, errors)
        self._errors = Outlet(errors, errors)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._outlet.flush()

    def progress(self, snapshot: Snapshot) -> None:
        """`kind` progress. Each one: the reader decides what to skip."""
        self._object("progress", {name: getattr(snapshot, name) for name in PROGRESS_FIELDS})

    def silence(self) -> None:
        """Nothing: each object is of its own moment."""

    def event(self, happening: Happening) -> None:
        """`kind` event, with the event's own fields between its verb and its sentence."""
        told = {"number": happening.number, "verb": happening.verb}
        own = {name: value for name, value in happening.fields.items() if name not in OURS}
        self._object("event", {**told, **own, "sentence": happening.sentence, "remedy": happening.remedy})

    def notice(self, text: str) -> None:
        """A line on the error stream."""
        self._errors.line(plain_text(text))

    def result(self, result: WindResult) -> None:
        """`kind` result."""
        self._object("result", {name: getattr(result, name) for name in RESULT_FIELDS})

    def _object(self, kind: str, fields: Mapping[str, object]) -> None:
        self._outlet.line(json_text({"kind": kind, "format": FORMAT, **fields}))
