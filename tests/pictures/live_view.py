"""Draws the picture of the live view that the README shows: `python tests/pictures/live_view.py`.

The picture is the view's own drawing of an invented wind, so it cannot show what the program does not. A test
fails while the file on disk differs from what this program draws.
"""

from __future__ import annotations

import io
import tomllib
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.terminal_theme import TerminalTheme

from reelwright.cli.demo import JOB
from reelwright.cli.wind import heading
from reelwright.device.client import Received
from reelwright.operation.telling import happening_of, snapshot_of
from reelwright.profiles import build_job
from reelwright.views.screen import Screen
from reelwright.winding.plan import make_plan
from windlink import codes
from windlink.frame import EVENT

PICTURE = Path(__file__).resolve().parents[2] / ".pictures" / "live_view.svg"
COLUMNS = 80
MARGIN_COLUMNS = 2

# Quiet colours on a dark ground, each at least 4.5 : 1 against it: the contrast that WCAG 2.2 asks of text.
THEME = TerminalTheme(
    (24, 28, 33),
    (222, 226, 230),
    [
        (24, 28, 33),
        (240, 128, 120),
        (138, 196, 130),
        (224, 190, 110),
        (120, 170, 230),
        (200, 150, 220),
        (110, 190, 200),
        (222, 226, 230),
    ],
)

# Text only, in whatever fixed-width face the reader has: the picture fetches nothing. Braces are doubled for format().
DRAWING = """<svg viewBox="{terminal_x} {terminal_y} {terminal_width} {terminal_height}"
  xmlns="http://www.w3.org/2000/svg" role="img"
  aria-label="The live view of a wind: two bars, figures, the last events and the keys.">
<style>
.{unique_id}-matrix {{
  font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace;
  font-size: {char_height}px;
  line-height: {line_height}px;
}}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}"/>
</clipPath>
{lines}
</defs>
<rect x="{terminal_x}" y="{terminal_y}" width="{terminal_width}" height="{terminal_height}" rx="10" fill="#181c21"/>
<g transform="translate({terminal_x}, {terminal_y})" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def wind() -> Screen:
    """The demo's job in its seventh layer, told by the same functions that tell a real one."""
    plan = make_plan(build_job(tomllib.loads(JOB), "the demo"))
    stop = plan.stops[0][0]
    told = [
        ("layer_done", {"layer": 4, "pulses": stop}),
        ("stopped", {"stop": codes.STOP_AT_LAYER, "layer": 4, "pulses": stop}),
        ("began", {"job_id": 1, "pulses": stop}),
        ("layer_done", {"layer": 5, "pulses": plan.layer_pulses[4]}),
        ("layer_done", {"layer": 6, "pulses": plan.layer_pulses[5]}),
    ]
    return Screen(
        heading=heading(plan, "/dev/ttyACM0"),
        snapshot=snapshot_of(plan, codes.WINDING, plan.layer_pulses[5] + 263, 5580),
        happenings=tuple(
            happening_of(plan, Received(EVENT, verb, number, fields))
            for number, (verb, fields) in enumerate(told, start=5)
        ),
    )


def drawn() -> str:
    """The picture as SVG, the same on every run."""
    console = Console(
        record=True,
        width=COLUMNS + 2 * MARGIN_COLUMNS,
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
    )
    console.print(Padding(wind(), (1, MARGIN_COLUMNS)))
    return console.export_svg(theme=THEME, code_format=DRAWING, unique_id="wind")


if __name__ == "__main__":
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(drawn(), encoding="utf-8", newline="\n")
    print(PICTURE)
