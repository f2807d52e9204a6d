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
    assert "still has the job that it ended last" in told
    assert "Take the board's power away" in " ".join(told.split())
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


def test_the_highest_rate_is_the_last_before_the_first_loss() -> None:
    rows = [LoopbackRow(gap, 0, 100, 100 if gap >= 100 else 97, 1e6 / (2 * gap)) for gap in GAPS_US if gap >= 50] + [
        LoopbackRow(5000, 3, 100, 100, 99.0)
    ]
    assert highest_rate(rows) == 5000
    assert [each.code for each in judge_loopback(rows)] == ["loopback_right"]
    bounced = [*rows[:-1], LoopbackRow(5000, 3, 100, 130, 99.0)]
    assert [each.code for each in judge_loopback(bounced)] == ["loopback_bounces"]
    assert highest_rate([LoopbackRow(5000, 0, 100, 99, 100.0)]) == 0
