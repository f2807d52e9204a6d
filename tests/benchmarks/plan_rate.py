"""How many plans a second one process makes, and what a live view pays for each question."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from reelwright.winding.plan import make_plan
from winding_jobs import job_of

if TYPE_CHECKING:
    from collections.abc import Callable

SECONDS = 0.5


def rate(work: Callable[[], object]) -> float:
    """Calls a second, over half a second."""
    begin = time.perf_counter()
    calls = 0
    while time.perf_counter() - begin < SECONDS:
        work()
        calls += 1
    return calls / (time.perf_counter() - begin)


def rows() -> list[tuple[str, str]]:
    """(what, figure) of each line."""
    job = job_of(target={"layers": 50, "pause_every_layer": True}, take_up={"flange_diameter_mm": 300})
    plan = make_plan(job)
    middle = plan.target_pulses // 2
    return [
        ("plans of 50 layers", f"{rate(lambda: make_plan(job)):,.0f} a second (budget 1,000)"),
        ("length at a count", f"{1e6 / rate(lambda: plan.length_m_at(middle)):.1f} us"),
        ("layer at a count", f"{1e6 / rate(lambda: plan.layer_at(middle)):.1f} us"),
        ("time left at a count", f"{1e6 / rate(lambda: plan.seconds_left(middle, 100.0)):.1f} us"),
        ("what was wound at a count", f"{1e6 / rate(lambda: plan.at_pulses(middle)):.1f} us"),
    ]
