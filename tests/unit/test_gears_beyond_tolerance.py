"""`reelwright gears find` where no train is within the tolerance, and where gears are undercut."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from reelwright.cli.gears import command
from reelwright.errors import UsageError
from reelwright.profiles import load_job
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path

# drivers 20 and 18, driven 36 and 30: N = 7 x 36 x 30 / (20 x 18) = 21, and 37.76 mm / 21 = 1.7981 mm, where 1.74 mm
# and twice 0.02 mm are wanted: 1.02 % off. 37.76 mm is 39.5 mm of inside width less the strand.
OF_21_TURNS = ("--stroke", "37.76mm", "--screw-turns", "7", "--have", "20,36,18,30")
STRAND_OF_JOB = """
[take_up]
barrel_diameter_mm = 64.0
flange_diameter_mm = 105.0
inside_width_mm = 39.5
[strand]
diameter_mm = 1.74
diameter_u_mm = 0.02
[machine]
gears = [[20, 36], [18, 30]]
screw_turns_per_pass = 7
pulses_per_turn = 20
[target]
length_m = 40
"""


def found(*arguments: str) -> str:
    return CliRunner().invoke(command, ["find", *arguments], catch_exceptions=False).stdout


def answer(*arguments: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(found(*arguments, "--json"))
    return told


def test_a_train_that_the_plan_finds_good_is_shown_though_beyond_the_tolerance(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(STRAND_OF_JOB, encoding="utf-8")
    (train,) = answer(str(path), "--have", "20,36,18,30")["trains"]
    assert train["gears"] == [[18, 36], [20, 30]]
    assert train["pitch_error_percent"] == pytest.approx(100 * (37.76 / 21 / 1.78 - 1), abs=1e-9)
    assert (train["within_tolerance"], train["verdict"]) == (False, "good")
    codes = [finding.code for finding in make_plan(load_job(path)).findings]
    assert not {"pitch_tight", "pitch_wide"} & set(codes)
    shown = " ".join(found(str(path), "--have", "20,36,18,30").split())
    assert "None comes within 1 % of it; these are farther off, and good by the plan." in shown
    assert "the strand's 1.74 mm and 2 times its standard uncertainty of 0.02 mm" in shown


def test_a_train_beyond_the_tolerance_that_leaves_gaps_is_not_shown() -> None:
    with pytest.raises(UsageError, match="none lays this strand without gaps") as refusal:
        found(*OF_21_TURNS, "--diameter", "1.42mm")  # 1.7981 mm are more than 1.25 times that
    assert "--have" not in refusal.value.remedy
    assert refusal.value.remedy == "Take other gears, or change the screw turns per pass or the stroke."


def test_a_tolerance_is_only_offered_where_it_may_be_so_wide_and_then_helps() -> None:
    with pytest.raises(UsageError) as refusal:
        found(*OF_21_TURNS, "--pitch", "1.6mm")
    assert "raise --tolerance to 13" in refusal.value.remedy  # 1.7981 / 1.6 = 1.1238
    assert answer(*OF_21_TURNS, "--pitch", "1.6mm", "--tolerance", "13")["trains"]
    with pytest.raises(UsageError) as refusal:
        found(*OF_21_TURNS, "--pitch", "1.1mm")
    assert "--tolerance" not in refusal.value.remedy


def test_undercut_gears_are_marked_in_the_table() -> None:
    at_hand = ("--stroke", "37.76mm", "--screw-turns", "7", "--diameter", "1.78mm", "--tolerance", "5")
    shown = found(*at_hand, "--have", "10,30,17,51")
    assert "10*:30" in shown
    assert "17:51" in shown  # slight only: 17 teeth are taken in practice
    assert "* undercut" in shown
    assert "* undercut" not in found(*at_hand, "--have", "20,60")
