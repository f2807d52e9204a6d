"""Each finding of the plan: beyond its limit and not at it, with its number and its source."""

from __future__ import annotations

import json
from math import hypot

import pytest

from advice_cases import (
    CASES,
    FAR_BEYOND,
    FROM,
    HAIR,
    NESTED,
    WHOLE,
    finding_of,
)
from reelwright.winding.findings import LIMITS, limits_table, within
from reelwright.winding.rounding import rounded_down, rounded_up
from winding_jobs import job_tables, plan_of


def test_every_limit_has_its_case() -> None:
    assert set(FAR_BEYOND) == set(LIMITS)


@pytest.mark.parametrize("code", CASES)
def test_a_value_at_its_limit_or_a_hair_within_is_no_finding_and_a_hair_beyond_is_one(code: str) -> None:
    beyond = 1 if LIMITS[code].bound == "at most" else -1
    assert finding_of(code, CASES[code](1 - beyond * HAIR)) is None
    assert finding_of(code, CASES[code](1)) is None
    assert finding_of(code, CASES[code](1 + beyond * HAIR)) is not None


def test_a_nested_rise_is_doubted_from_the_second_layer_on() -> None:
    assert finding_of("crossed_layers", NESTED | {"target": {"layers": 1}}) is None
    assert finding_of("crossed_layers", NESTED | {"target": {"layers": "5/4"}}) is not None
    assert finding_of("crossed_layers", {"lay": {"rise": 0.87}, "target": WHOLE}) is None


@pytest.mark.parametrize("code", FAR_BEYOND)
def test_a_finding_says_the_number_the_limit_and_who_set_it(code: str) -> None:
    finding = finding_of(code, FAR_BEYOND[code])
    row = LIMITS[code]
    assert finding is not None
    assert finding.value is not None
    assert finding.limit is not None
    assert (finding.value > finding.limit) == (row.bound == "at most")
    assert finding.blocks == row.blocks
    outward, inward = (rounded_up, rounded_down) if row.bound == "at most" else (rounded_down, rounded_up)
    numbers = f"{outward(finding.value):.4g}", f"{inward(finding.limit):.4g}"
    for words in (*numbers, row.unit, f"({row.source})", row.consequence):
        assert words in finding.fact
    assert finding.message == f"{finding.fact} {finding.remedy}"
    told = json.loads(json.dumps(finding.to_dict()))
    assert (told["code"], told["message"], told["remedy"]) == (code, finding.message, finding.remedy)
    assert (told["value"], told["limit"], told["unit"], told["source"]) == finding[3:7]


def test_the_source_is_judged_by_the_ends_of_its_interval() -> None:
    plan = plan_of(**FROM["source_doubtful"])
    assert plan.source is not None
    for value, needed, code in (
        (plan.source.least_m, plan.source.needed_m, "source_doubtful"),
        (plan_of(**FROM["source_short"]).source.most_m, 40, "source_short"),
    ):
        finding = finding_of(code, FROM[code])
        assert finding is not None
        assert (finding.value, finding.limit) == (value, pytest.approx(needed))
    # what the spool holds and what the wind takes are unsure of their own: roots of the sum of squares, k = 2
    enough_m = 40 + 2 * hypot(0.3, plan.length_u_m)
    assert finding_of("source_doubtful", {"pay_off": {"held_m": enough_m + 1e-5, "held_u_m": 0.3}}) is None
    assert finding_of("source_doubtful", {"pay_off": {"held_m": enough_m - 1e-5, "held_u_m": 0.3}}) is not None


def test_a_spool_that_holds_exactly_the_target_may_run_out_before_it() -> None:
    plan = plan_of(pay_off={"held_m": 40, "held_u_m": 0})
    assert plan.source is not None
    assert (plan.source.verdict, plan.blocking) == ("doubtful", ())
    finding = next(each for each in plan.findings if each.code == "source_doubtful")
    assert finding.value == pytest.approx(40 - 2 * plan.length_u_m)
    assert f"what the wind leaves of it is sure to ± {2 * plan.length_u_m:.1f} m" in finding.fact


def test_the_table_of_limits_names_each_with_its_source() -> None:
    table = limits_table()
    for row in LIMITS.values():
        assert f"| `{row.code}` | {row.quantity} | {row.text()} | {row.source} |" in table
    assert "at most 1.25 strand diameters" in table
    assert "at most machine.max_spool_rpm" in table
    assert "at least 0.5 deg" in table
    assert table.startswith("| code | what | limit | source | beyond it |\n| --- | --- | --- | --- | --- |\n| `")
    lines = table.splitlines()[2:]
    assert [line.endswith("; **forbidden** |") for line in lines] == [row.blocks for row in LIMITS.values()]
    assert [line.split(" | ")[-1] for line in lines if "forbidden" not in line] == [
        f"{row.consequence} |" for row in LIMITS.values() if not row.blocks
    ]


def test_a_value_at_its_limit_is_within_whatever_rounding_adds_to_it() -> None:
    most, least = LIMITS["flange_heap"], LIMITS["near_flange"]
    for limit in (5000.0, 0.001):
        assert within(most, limit * (1 + 1e-10), limit)
        assert within(least, limit * (1 - 1e-10), limit)
        assert not within(most, limit * (1 + 1e-8), limit)
        assert not within(least, limit * (1 - 1e-8), limit)
    assert within(most, 1e-10, 0.0)
    assert not within(most, 1e-8, 0.0)


def test_a_job_without_the_optional_keys_is_not_judged_by_them() -> None:
    assert job_tables()["machine"].keys().isdisjoint({"motor_torque_n_m", "gear_torque_n_m", "line_speed_m_s"})
    assert plan_of().findings == ()
