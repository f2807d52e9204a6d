"""Which face a wind shows, decided once at the start."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, TextIO

from reelwright.views.keys import REST_AND_LEAVE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reelwright.views.view import View


def choose_view(
    *,
    as_json: bool,
    heading: str,
    keys: Sequence[tuple[str, str]] = REST_AND_LEAVE,
    stream: TextIO | None = None,
    errors: TextIO | None = None,
) -> View:
    """JSON lines when asked for; live on a terminal that can move its cursor; plain lines everywhere else.

    heading: one line that names the job. keys: those that work, and so are shown. stream: where to
    show it, standard output by default. errors: where JSON's notices go, standard error by default.
    """
    out = sys.stdout if stream is None else stream
    err = sys.stderr if errors is None else errors
    if as_json:
        from reelwright.views.json_lines import JsonView

        return JsonView(out, err)
    if can_redraw(out, os.environ):
        from reelwright.views.live import LiveView

        return LiveView(out, err, heading, keys=keys)
    from reelwright.views.plain import PlainView

    return PlainView(out, err, heading)


def can_redraw(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Whether the stream is a terminal with a cursor. No colour setting counts: a log must never get redraws."""
    try:
        if not stream.isatty():
            return False
    except (OSError, ValueError):  # closed already
        return False
    return environment.get("TERM", "").lower() not in ("dumb", "unknown")
