"""How long `reelwright plan` takes from nothing to its answer, as a ratio to importing its command-line library."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 15
HOST = Path(__file__).resolve().parents[2] / "host"
JOB = """
[take_up]
barrel_diameter_mm = 84
flange_diameter_mm = 190
inside_width_mm = 63
[strand]
diameter_mm = 1.75
density_g_cm3 = 1.24
[machine]
gears = [[10, 58], [10, 30]]
screw_turns_per_pass = 2
pulses_per_turn = 60
[target]
length_m = 40
pause_every_layer = true
"""


def shortest_ms(arguments: list[str], compiled: str) -> float:
    """The shortest of several runs, since only delays are added to it by whatever else the machine does.

    compiled: a folder for compiled modules, which an installed package brings along.
    """
    paths = [str(HOST), str(HOST.parent / "protocol"), os.environ.get("PYTHONPATH", "")]
    environment = {
        **{name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"},
        "PYTHONPATH": os.pathsep.join(path for path in paths if path),
        "PYTHONPYCACHEPREFIX": compiled,
    }
    times = []
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        subprocess.run(arguments, check=True, stdout=subprocess.DEVNULL, env=environment)
        times.append(time.perf_counter() - begin)
    return 1000 * min(times)


def rows() -> list[tuple[str, str]]:
    """(what, figure) of each line."""
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job.toml"
        job.write_text(JOB, encoding="utf-8")
        click = shortest_ms([sys.executable, "-c", "import click"], folder)
        command = [sys.executable, "-c", "from reelwright.cli import run; run()", "plan", "--json"]
        plan = shortest_ms([*command, str(job)], folder)
        names = ["--spool", "kilo", "--strand", "pla-1.75", "--machine", "bench-dc", "--length", "40m"]
        named = shortest_ms([*command, *names], folder)
    return [
        ("import click, cold", f"{click:.0f} ms"),
        ("plan of a job file, cold", f"{plan:.0f} ms, {plan / click:.2f} x import click (budget 3)"),
        ("plan by profile names, cold", f"{named:.0f} ms, {named / click:.2f} x import click"),
    ]
