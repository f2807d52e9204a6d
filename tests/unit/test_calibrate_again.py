"""A measurement given twice is not taken for new evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from calibrate_shell import LONG_WIND, READINGS, answer_of, bench_plan, calibrate, keep_in_ledger, own_home, stored
from reelwright.errors import UsageError
from reelwright.winding.calibration_evidence import Kept, Repetition, evidence_after, repetition_of
from reelwright.winding.calibration_methods import calibrate_diameter
from reelwright.winding.calibration_readings import Micrometer, Reading

if TYPE_CHECKING:
    from pathlib import Path

BENCH = ["--spool", "kilo", "--machine", "bench-dc"]
PLAN = bench_plan(**LONG_WIND)
WEIGHED = ["--gross", f"{212 + PLAN.wound_mass_g:.1f}g", "--tare", "212g"]
OVER = {layer: f"{layer}:{PLAN.layers[layer - 1].diameter_mm:.1f}mm" for layer in (4, 8, 12)}
BY_HAND = [*BENCH, "--turns", f"{PLAN.target_pulses}/60"]


home = pytest.fixture(autouse=True)(own_home)


def saved(*arguments: str, strand: str = "reed", to: str = "reed") -> None:
    calibrate(*arguments, "--strand", strand, "--save", to)


def refused(*arguments: str, strand: str = "reed", to: str = "reed") -> UsageError:
    with pytest.raises(UsageError) as refusal:
        saved(*arguments, strand=strand, to=to)
    return refusal.value


TOGETHER = ["together", *BY_HAND, *WEIGHED, "--layer", OVER[12]]


def test_the_same_wind_pressed_again_is_refused_with_its_date_and_grows_no_surer(home: Path) -> None:
    saved(*TOGETHER, strand="pla-1.75")
    once = stored(home, "reed")
    told = refused(*TOGETHER)
    assert told.message == (
        'Nothing was stored: measurements 1 and 2 are in the strand profile "reed" already, '
        f"saved on {once['calibration']['date']}."
    )
    assert told.remedy.startswith("Measure again, or decide: --keep rise stores")
    assert stored(home, "reed") == once
    shown = calibrate(*TOGETHER, "--strand", "reed").stdout
    assert "Warning: measurements 1 and 2 are in the strand profile" in shown
    assert answer_of(*TOGETHER, "--strand", "reed")["repetition"] == {
        "numbers": [1, 2],
        "profile": "reed",
        "date": once["calibration"]["date"],
    }


def test_what_is_kept_by_decision_is_stored_and_listed_once(home: Path) -> None:
    saved(*TOGETHER, strand="pla-1.75")
    before = stored(home, "reed")["calibration"]
    saved(*TOGETHER, *(f"--keep={figure}" for figure in before["found"]))
    after = stored(home, "reed")["calibration"]
    assert after["rise_u"] < before["rise_u"]
    assert after["inputs"] == before["inputs"]


def test_part_of_it_again_is_told_by_its_numbers_and_may_be_left_out(home: Path) -> None:
    saved("layers", OVER[4], OVER[12], *BENCH, strand="pla-1.75")
    more = ["together", *BY_HAND, *WEIGHED, "--layer", OVER[12]]
    told = refused(*more)
    assert "measurement 1 is in the strand profile" in told.message
    assert "--leave-out 1 does without" in told.remedy
    saved(*more, "--leave-out", "1")
    inputs = stored(home, "reed")["calibration"]["inputs"]
    assert [line.partition(":")[0] for line in inputs] == [
        "outer diameter over layer 4",
        "outer diameter over layer 12",
        "mass",
    ]
    # the one before the last counts as well: the figures rest on it
    assert "measurement 1 is in" in refused("layers", OVER[4], OVER[8], *BENCH).message


def test_it_is_known_again_by_whatever_way_the_wind_is_named(home: Path) -> None:
    keep_in_ledger(12)
    saved("together", "--job", "12", *WEIGHED, "--layer", OVER[12], strand="pla-1.75")
    assert stored(home, "reed")["calibration"]["inputs"][1].endswith(" turns, job 12")
    assert "measurements 1 and 2 are" in refused(*TOGETHER).message
    assert "measurement 1 is" in refused("layers", OVER[12], *BENCH).message
    assert "measurement 1 is" in refused("weight", "--job", "12", *WEIGHED).message


def test_another_wind_that_came_out_alike_is_new_evidence(home: Path) -> None:
    keep_in_ledger(12)
    keep_in_ledger(13)
    saved("together", "--job", "12", *WEIGHED, strand="pla-1.75")
    before = stored(home, "reed")["calibration"]
    saved("together", "--job", "13", *WEIGHED)
    assert len(stored(home, "reed")["calibration"]["inputs"]) == 2
    assert stored(home, "reed")["earlier"] == [before]


def test_a_second_profile_that_begins_with_the_first_knows_what_that_rests_on(home: Path) -> None:
    saved(*TOGETHER, strand="pla-1.75")
    assert 'in the strand profile "reed" already' in refused(*TOGETHER, strand="reed", to="marsh").message
    saved("together", *BENCH, "--layer", OVER[4], "--layer", OVER[8], strand="reed", to="marsh")
    assert 'in the strand profile "marsh" already' in refused(*TOGETHER, strand="marsh", to="marsh").message
    # from the label on it counts once, and so may go into another profile
    saved(*TOGETHER, strand="pla-1.75", to="fen")
    assert stored(home, "fen")["calibration"]["inputs"] == stored(home, "reed")["calibration"]["inputs"]


def test_from_the_label_on_the_same_is_nothing_new_for_its_profile_but_more_than_it_is(home: Path) -> None:
    saved(*TOGETHER, strand="pla-1.75")
    assert "measurements 1 and 2 are in" in refused(*TOGETHER, strand="pla-1.75").message
    saved(*TOGETHER, "--layer", OVER[4], strand="pla-1.75")
    assert len(stored(home, "reed")["calibration"]["inputs"]) == 3


def test_several_winds_of_a_file_are_known_again_one_by_one(tmp_path: Path) -> None:
    keep_in_ledger(12)
    keep_in_ledger(13)
    saved("together", "--job", "13", *WEIGHED, strand="pla-1.75")
    file = tmp_path / "measured.toml"
    wind = f"gross_mass_g = {WEIGHED[1][:-1]}\nempty_mass_g = 212\n"
    file.write_text(f"[[wind]]\njob = 12\n{wind}[[wind]]\njob = 13\n{wind}", encoding="utf-8")
    assert "measurement 2 is in" in refused("together", "--from", str(file)).message


def test_the_same_readings_are_the_same_only_while_nothing_else_was_measured(home: Path) -> None:
    saved("diameter", *READINGS, strand="pla-1.75")
    told = refused("diameter", *reversed(READINGS))
    assert "measurements 1, 2, 3, 4 and 5 are in" in told.message
    assert "--keep diameter stores" in told.remedy
    saved("diameter", "1.75mm", "1.76mm", "1.74mm", "1.75mm", "1.76mm")
    # a diameter that is measured anew lets go of the rise; the wind may then be given again
    saved("layers", OVER[4], OVER[12], *BENCH)
    assert "measurements 1 and 2 are in" in refused("layers", OVER[4], OVER[12], *BENCH).message
    saved("diameter", *READINGS, "--keep", "rise")
    saved("layers", OVER[4], OVER[12], *BENCH)
    assert [line.partition(":")[0] for line in stored(home, "reed")["calibration"]["inputs"]] == [
        *["diameter"] * 5,
        "outer diameter over layer 4",
        "outer diameter over layer 12",
    ]


def test_readings_alone_replace_all_that_was_kept() -> None:
    values = calibrate_diameter([Reading(1.74), Reading(1.75)], Micrometer()).values
    kept = [Kept("diameter: 1.73 mm", "reed", "2031-05-04"), Kept("mass: 600 g", "reed", "2031-05-04")]
    assert repetition_of(values, kept) is None
    assert evidence_after(values, kept) == ["diameter: 1.74 mm", "diameter: 1.75 mm"]
    same = [Kept(value.evidence, "reed", "2031-05-04") for value in values]
    assert repetition_of(values, same[::-1]) == Repetition((1, 2), "reed", "2031-05-04")
    assert repetition_of(values, same[:1]) is None
