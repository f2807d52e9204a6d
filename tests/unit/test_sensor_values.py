"""What the host tells the winder about its sensors: the measuring wheel against the coil, and the silence of rest."""

from __future__ import annotations

import random
from typing import Any

import pytest

from reelwright.device.job_values import job_values
from reelwright.errors import FileFaultsError
from reelwright.profiles import build_job
from reelwright.winding.plan import make_plan
from windcore.job import Job
from windcore.wheel import WheelCheck
from windlink.job import FIRST_STOP, JOB_FIELDS, POSITION, first_fault


def tables(**machine: Any) -> dict[str, dict[str, object]]:
    return {
        "take_up": {"barrel_diameter_mm": 50, "flange_diameter_mm": 160, "inside_width_mm": 40},
        "strand": {"diameter_mm": 1.75},
        "machine": {
            "turns_per_layer": "21",
            "pulses_per_turn": 20,
            "fitted": ["stop_button", "measuring_wheel"],
            "measuring_wheel_mm_per_pulse": 2.5,
            **machine,
        },
        "target": {"layers": 12},
    }


def told(**machine: Any) -> dict[str, int]:
    job = build_job(tables(**machine))
    values = job_values(job, make_plan(job))
    assert first_fault(values) < 0
    return {field.name: value for field, value in zip(JOB_FIELDS, values[:FIRST_STOP], strict=True)}


def test_a_wheel_that_is_not_fitted_is_absent_from_the_job_even_where_its_size_is_known() -> None:
    values = told(fitted=["stop_button"])
    assert [values[name] for name in ("slip_window_pulses", "wheel_first", "wheel_rise", "slip_permille")] == [0] * 4


@pytest.mark.parametrize(
    ("machine", "standstill_ms"),
    [
        ({"pulses_per_turn": 20}, 300),
        ({"pulses_per_turn": 1, "max_spool_rpm": 120}, 750),  # a period and a half of half a second
        ({"pulses_per_turn": 1, "max_spool_rpm": 5}, 10_000),
        ({"pulses_per_turn": 1, "drive": "hand"}, 1000),
        ({"pulses_per_turn": 20, "standstill_s": 2}, 2000),
    ],
    ids=str,
)
def test_rest_is_proven_by_longer_silence_where_pulses_are_rare(machine: dict[str, object], standstill_ms: int) -> None:
    assert told(fitted=["stop_button"], **machine)["standstill_ms"] == standstill_ms


def test_a_fitted_wheel_without_its_size_is_a_fault_of_the_job() -> None:
    lacking = tables()
    del lacking["machine"]["measuring_wheel_mm_per_pulse"]
    with pytest.raises(FileFaultsError) as refused:
        build_job(lacking)
    assert [fault.path for fault in refused.value.faults] == ["machine.measuring_wheel_mm_per_pulse"]


def test_a_turn_of_the_first_layer_draws_its_circumference() -> None:
    # pi * (50 + 1.75) mm around, hardly longer for its pitch: 162.6 mm, 65.0 pulses of 2.5 mm
    values = told()
    assert values["slip_window_pulses"] == 20
    assert values["wheel_first"] / 16 == pytest.approx(65.03, abs=0.1)


@pytest.mark.parametrize(
    "machine",
    [
        {"measuring_wheel_mm_per_pulse": 0.1, "pulses_per_turn": 100_000},
        {"measuring_wheel_mm_per_pulse": 0.1, "pulses_per_turn": 1},
        {"measuring_wheel_mm_per_pulse": 400, "pulses_per_turn": 600},
        {"measuring_wheel_mm_per_pulse": 10, "pulses_per_turn": 1, "phase_turns": 2},
    ],
    ids=str,
)
def test_every_wheel_fits_into_whole_numbers_below_two_to_the_thirty(machine: dict[str, object]) -> None:
    values = told(max_spool_rpm=5, **machine)
    deepest = values["wheel_first"] + 240 * values["wheel_rise"]
    assert 2 * values["slip_window_pulses"] * deepest < 1 << 30
    allowed = values["wheel_first"] / 16 * values["slip_permille"] / 1000 + values["slip_slack"]
    assert allowed < values["wheel_first"] / 16, "strand that stands would never be noticed"


def test_a_job_whose_window_would_not_fit_is_refused() -> None:
    job = build_job(tables())
    values = job_values(job, make_plan(job))
    values[POSITION["wheel_first"]] = 1 << 28
    assert first_fault(values) == POSITION["slip_window_pulses"]


@pytest.mark.parametrize("phase_turns", ["21", "1", "10"])
@pytest.mark.parametrize("pulses_per_turn", [1, 7, 20, 600])
@pytest.mark.parametrize("mm_per_pulse", [0.2, 2.5, 20])
def test_a_true_wheel_on_the_planned_coil_never_trips_and_one_that_loses_a_third_does(
    phase_turns: str, pulses_per_turn: int, mm_per_pulse: float
) -> None:
    job = build_job(
        tables(phase_turns=phase_turns, pulses_per_turn=pulses_per_turn, measuring_wheel_mm_per_pulse=mm_per_pulse)
    )
    plan = make_plan(job)
    values = job_values(job, plan)
    random.seed(f"{phase_turns} {pulses_per_turn} {mm_per_pulse}")
    for share in (1.0, 0.95, 1.05, 0.67):
        check = WheelCheck()
        check.prepare(Job(1, "", values))
        phase, wheel_phase = random.random(), random.random()
        check.begin(0, 0)
        found = 0
        steps = int(float(plan.exact_turns) * 20)
        for step in range(steps):
            turns = step / 20
            strand_mm = share * plan.coil.length_mm(turns)
            count = int(turns * pulses_per_turn + phase)
            layer = min(12, 1 + sum(count >= boundary for boundary in plan.layer_pulses))
            found = check.look(count, int(strand_mm / mm_per_pulse + wheel_phase), layer)
            if found:
                break
        assert bool(found) == (share == 0.67), (share, step / 20, check.seen, check.expected)
