"""A plan of a hundred layers against the plain way: one turn after the other, added up."""

from __future__ import annotations

import time
from math import pi, sqrt
from typing import TYPE_CHECKING

from reelwright.winding.coil import Coil
from reelwright.winding.plan import make_plan
from winding_jobs import job_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from reelwright.winding.planned import Plan

LAYERS = 100
ROUNDS = 40


def turn_by_turn_mm(plan: Plan) -> float:
    """Length alone, without layers, pulses, mass, error bar and fit."""
    inner, rise, pitch = plan.coil.inner_radius_mm, plan.coil.rise_mm, plan.coil.pitch_mm
    per_layer = float(plan.layer_turns)
    length = 0.0
    turns, done = plan.turns, 0.0
    while done < turns:
        turn = min(1.0, turns - done)
        around = 2 * pi * (inner + int(done / per_layer) * rise)
        length += turn * sqrt(around * around + pitch * pitch)
        done += 1.0
    return length


def shortest_ms(work: Callable[[], object]) -> float:
    """The shortest of several runs, since only delays are added to it."""
    times = []
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return 1000 * min(times)


def rows() -> list[tuple[str, str]]:
    """(what, figure) of each line."""
    job = job_of(target={"layers": LAYERS}, take_up={"flange_diameter_mm": 450})
    plan = make_plan(job)
    coil = plan.coil

    def length_alone() -> float:
        return Coil(coil.inner_radius_mm, coil.rise_mm, coil.pitch_mm, coil.turns_per_layer).length_mm(plan.turns)

    turns, whole, alone = (
        shortest_ms(work) for work in (lambda: turn_by_turn_mm(plan), lambda: make_plan(job), length_alone)
    )
    return [
        (f"{plan.turns:.0f} turns one by one", f"{turns:.2f} ms"),
        (f"whole plan of {LAYERS} layers", f"{whole:.2f} ms, {whole / turns:.2f} x turn by turn"),
        ("its length alone", f"{alone:.2f} ms, {alone / turns:.2f} x turn by turn"),
    ]
