"""`checkup --loopback`: known numbers of pulses, counted by the board that makes them; each verdict by its fault."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.operation.loopback_test import GAPS_US, LoopbackRow, highest_rate, judge_loopback
from reelwright.operation.motor_test import PASSWORD
from simulated.test_checkup import check_up, job_of
from simulated.winder import environment, simulated

if TYPE_CHECKING:
    from pathlib import Path


def test_an_ideal_jumper_loses_nothing_slow_or_fast_bouncing_or_backwards(tmp_path: Path) -> None:
    assert environment(tmp_path)
    with simulated(job_of(tmp_path), tmp_path, "--pace", "4") as port:
        code, report, told = check_up(tmp_path, port, "--loopback")
        assert code == 0, told
        rows = report["loopback"]["rows"]
        assert {(row["gap_us"], row["bounces"]) for row in rows} >= {(5000, 0), (5000, 3), (1, 0)}
        assert {row["expected"] > 0 for row in rows} == {True, False}
        assert all(row["counted"] == row["expected"] for row in rows)
        assert report["loopback"]["highest_pulses_s"] == pytest.approx(500_000)
        assert report["loopback"]["limit_pulses_s"] == 10_000
        assert all(row["right"] for row in rows)
        assert "loopback_right" in [each["code"] for each in report["verdicts"]]
        # what it held up is no slow loop, and the winder is as before
        code, report, told = check_up(tmp_path, port)
        assert [each["code"] for each in report["verdicts"]] == ["in_order"], told


def test_after_a_job_or_a_motor_test_it_is_refused_with_what_to_do(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert check_up(tmp_path, port, str(job), "--motor", typed=PASSWORD + "\n")[0] == 0
        code, _, told = check_up(tmp_path, port, "--loopback")
    assert code == 3
    assert "which it has ended (a motor test is a job, too)" in " ".join(told.split())
    assert "Restart the board, by its reset button or by unplugging it" in " ".join(told.split())
    assert "takes now" not in told


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        ("sensor_dead", "loopback_silent"),
        ("sensor_weak", "loopback_wrong"),
        ("swapped_channels", "loopback_backwards"),
    ],
)
def test_a_fault_is_told_by_its_verdict(tmp_path: Path, fault: str, code: str) -> None:
    with simulated(job_of(tmp_path), tmp_path, "--pace", "4", "--fault", f"{fault}@0") as port:
        exit_code, report, _ = check_up(tmp_path, port, "--loopback")
        assert exit_code == 3
        assert code in [each["code"] for each in report["verdicts"]]


def rows_with_a_loss_from(gap_us: int) -> list[LoopbackRow]:
    """Plain rows, slow to fast, until one of 200 is lost; and one with bounce."""
    tried = [gap for gap in GAPS_US if gap >= gap_us]
    plain = [LoopbackRow(gap, 0, -200, -200 if gap > gap_us else -199, 1e6 / (2 * gap)) for gap in tried]
    return [*plain, LoopbackRow(5000, 3, 100, 100, 99.0)]


def test_the_highest_rate_is_the_last_before_the_first_loss_and_is_held_against_the_winders_limit() -> None:
    rows = rows_with_a_loss_from(25)
    assert highest_rate(rows) == 10_000
    (right,) = judge_loopback(rows, 10_000)
    assert (right.code, right.rank) == ("loopback_right", "well")
    assert "every pulse up to 10000 a second; a job may ask for 10000 at most" in right.sentence
    assert "the first loss came at 20000, where the test ends" in right.sentence
    bounced = [*rows[:-1], LoopbackRow(5000, 3, 100, 130, 99.0)]
    assert [each.code for each in judge_loopback(bounced, 10_000)] == ["loopback_bounces"]
    assert highest_rate([LoopbackRow(5000, 0, 100, 99, 100.0)]) == 0


def test_a_counter_that_loses_pulses_below_what_a_job_may_ask_for_is_not_called_good() -> None:
    (slow,) = judge_loopback(rows_with_a_loss_from(50), 10_000)
    assert (slow.code, slow.rank) == ("loopback_slow", "look")
    assert "Keep below 5000 in your jobs" in slow.remedy


def test_a_rate_is_reached_when_it_is_in_both_directions() -> None:
    on, back = LoopbackRow(50, 0, 200, 200, 9_990.0), LoopbackRow(50, 0, -200, -199, 10_010.0)
    slower = [LoopbackRow(5000, 0, sign * 50, sign * 50, 100.0) for sign in (1, -1)]
    assert highest_rate([*slower, on, back]) == 100
