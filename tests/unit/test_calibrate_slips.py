"""A decimal point that has slipped in a measurement is asked about, and nothing else is taken for one."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from calibrate_shell import BENCH, answer_of, bench_plan, calibrate, faults_of, own_home, stored
from reelwright.errors import FileFaultsError, UsageError
from reelwright.winding.calibration_readings import Slip
from reelwright.winding.calibration_winds import MeasuredWind, weight_slip

if TYPE_CHECKING:
    from pathlib import Path


home = pytest.fixture(autouse=True)(own_home)


def test_a_slipped_decimal_point_is_asked_about_before_anything_else() -> None:
    slipped = ["diameter", "1.74mm", "1.75mm", "17.4mm", "1.73mm", "1.75mm"]
    question = "Did you mean 1.74 mm? Measurement 3, diameter, is 17.4 mm."
    assert calibrate(*slipped).stdout.splitlines()[1] == question
    with pytest.raises(UsageError) as refusal:
        calibrate(*slipped, "--save", "marsh")
    assert refusal.value.message.startswith(f"{question} Nothing was stored: ")
    assert answer_of(*slipped)["measurements"][2]["meant"] == "1.74 mm"
    assert "Did you mean" not in calibrate(*slipped, "--leave-out", "3").stdout


@pytest.mark.parametrize(
    ("readings", "questions"),
    [
        # all of them, and one of two: the strand that is known tells
        (["17.4mm", "17.5mm"], ["1.74 mm? Measurement 1", "1.75 mm? Measurement 2"]),
        (["0.174mm", "1.75mm"], ["1.74 mm? Measurement 1"]),
        (["1.76mm/1.72mm", "17.6mm/1.72mm", "1.76mm/1.73mm"], ["1.76 mm/1.72 mm? Measurement 2"]),
        # two of another strand are no slip
        (["2.85mm", "2.86mm"], []),
        (["1.2mm", "1.75mm", "1.75mm"], []),
    ],
)
def test_a_slip_is_known_by_the_strand_and_nothing_else_is_taken_for_one(
    readings: list[str], questions: list[str]
) -> None:
    shown = calibrate("diameter", *readings, "--strand", "pla-1.75").stdout
    assert re.findall(r"^Did you mean (.*? Measurement \d+),", shown, re.MULTILINE) == questions


@pytest.mark.parametrize(
    ("readings", "may_be_left_out"), [(["17.4mm", "1.75mm"], False), (["17.4mm", "1.75mm", "1.74mm"], True)]
)
def test_a_slipped_reading_is_left_out_only_where_two_others_stay(readings: list[str], may_be_left_out: bool) -> None:
    slipped = ["diameter", *readings, "--strand", "pla-1.75"]
    shown = calibrate(*slipped).stdout
    assert ("--leave-out 1 does without" in shown) == may_be_left_out
    if may_be_left_out:
        assert calibrate(*slipped, "--leave-out", "1").exit_code == 0
    else:
        assert "Measure again, or decide: --keep 1 --keep diameter stores the result all the same." in shown


def test_of_two_readings_none_is_told_to_lie_off_their_middle_and_a_slip_is_called_one() -> None:
    slipped = ["diameter", "17.4mm", "1.75mm", "--strand", "pla-1.75"]
    shown = calibrate(*slipped).stdout
    assert re.findall(r"^ \d  diameter .* (\S+)$", shown, re.MULTILINE) == ["-", "-"]
    assert "A dash: nothing else tells of it." in shown
    assert "measurement 1, diameter 17.4 mm, stands out: its decimal point seems to have slipped." in shown
    assert [each["normalized"] for each in answer_of(*slipped)["measurements"]] == [None, None]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["layers", "2:87.5mm", "7:1042mm", *BENCH], "outer diameter over layer 7: did you mean 104.2 mm?"),
        (["layers", "2:87.5mm", "7:1042mm", "--pitch", "1.76mm", "--strand", "pla-1.75"], "did you mean 104.2 mm?"),
        (["together", "--turns", "140", "--tape", "400m", *BENCH], "length: did you mean 40 m?"),
    ],
)
def test_a_slip_in_what_is_measured_of_a_wind_is_told_in_place_of_what_would_follow(
    arguments: list[str], words: str
) -> None:
    with pytest.raises(FileFaultsError) as refusal:
        calibrate(*arguments)
    assert words in refusal.value.message
    assert "would follow" not in refusal.value.message


@pytest.mark.parametrize(
    ("readings", "question"),
    [
        (["17.4mm", "17.5mm", "17.3mm"], "1.74 mm, 1.75 mm, 1.73 mm? All 3 measurements are ten times that."),
        (
            ["0.174mm", "0.175mm", "0.173mm", "0.174mm"],
            "1.74 mm, 1.75 mm, 1.73 mm and so on? All 4 measurements are a tenth of that.",
        ),
        (
            ["17.6mm/17.2mm", "17.6mm/17.3mm", "17.7mm/17.2mm"],
            "1.76 mm/1.72 mm, 1.76 mm/1.73 mm, 1.77 mm/1.72 mm? All 3 measurements are ten times that.",
        ),
        (
            ["17.4mm", "17.5mm", "1.75mm", "17.3mm"],
            "1.74 mm, 1.75 mm, 1.73 mm? Measurements 1, 2 and 4 are ten times that.",
        ),
    ],
)
def test_readings_that_slipped_alike_are_one_question(readings: list[str], question: str) -> None:
    shown = calibrate("diameter", *readings, "--strand", "pla-1.75").stdout
    assert re.findall(r"^Did you mean (.*)$", shown, re.MULTILINE) == [question]
    slipped = [reading for reading in readings if not reading.startswith("1.75")]
    warned = re.findall(r"^Warning: measurement (\d)", shown, re.MULTILINE)
    assert not set(warned) & {str(readings.index(reading) + 1) for reading in slipped}
    told = answer_of("diameter", *readings, "--strand", "pla-1.75")["measurements"]
    assert all(each["stands_out"] for each in told if each["meant"])
    with pytest.raises(UsageError, match=r"^Did you mean"):
        calibrate("diameter", *readings, "--strand", "pla-1.75", "--save", "marsh")


def test_pairs_of_which_one_side_slipped_are_asked_about_each() -> None:
    pairs = ["17.6mm/1.72mm", "17.6mm/1.73mm", "17.7mm/1.72mm"]
    shown = calibrate("diameter", *pairs, "--strand", "pla-1.75").stdout
    assert re.findall(r"^Did you mean (.*)$", shown, re.MULTILINE) == [
        "1.76 mm/1.72 mm? Measurement 1, mean of two diameters, is 17.6 mm/1.72 mm.",
        "1.76 mm/1.73 mm? Measurement 2, mean of two diameters, is 17.6 mm/1.73 mm.",
        "1.77 mm/1.72 mm? Measurement 3, mean of two diameters, is 17.7 mm/1.72 mm.",
    ]


NET_G = bench_plan(turns=573).wound_mass_g
WEIGHED = ["--turns", "573", *BENCH]
GROSS_G = round(212 + NET_G, 1)
RIGHT = f"{GROSS_G:g} g less 212 g"


@pytest.mark.parametrize(("gross", "tare"), [(10, 1), (1, 0.1), (10, 10)])
def test_a_weight_ten_times_off_is_asked_about(home: Path, gross: float, tare: float) -> None:
    given = [f"{gross * GROSS_G:.2f}", f"{tare * 212:.1f}"]
    options = ["--gross", f"{given[0]}g", "--tare", f"{given[1]}g", *WEIGHED]
    for way, number in ((["weight"], 1), (["together", "--layer", "5:99.0mm"], 2)):
        question = f"Did you mean {RIGHT}? Measurement {number}, mass, is "
        shown = calibrate(*way, *options).stdout
        assert shown.splitlines()[1].startswith(question)
        assert re.search(rf"{float(given[0]):.6g} g less {float(given[1]):.6g} g\.$", shown.splitlines()[1])
        assert answer_of(*way, *options)["measurements"][number - 1]["meant"] == RIGHT
        with pytest.raises(UsageError) as refusal:
            calibrate(*way, *options, "--save", "marsh")
        assert refusal.value.message.startswith(question)
    assert not home.exists()
    calibrate("weight", *options, "--save", "marsh", "--keep", "diameter")
    assert stored(home, "marsh")["calibration"]["found"] == ["diameter"]


@pytest.mark.parametrize(("gross", "tare"), [(0.1, 1), (1, 10)])
def test_weights_that_leave_no_strand_are_asked_about_too(gross: float, tare: float) -> None:
    given = f"{gross * GROSS_G:.2f}", f"{tare * 212:.0f}"
    for way in (["weight"], ["together", "--layer", "5:99.0mm"]):
        told = faults_of(*way, "--gross", f"{given[0]}g", "--tare", f"{given[1]}g", *WEIGHED)
        assert told["--tare"].endswith(f"leave no strand; did you mean {RIGHT}?")
    assert faults_of("weight", "--gross", "212g", "--tare", f"{212 + NET_G:.0f}g", *WEIGHED)["--tare"].endswith(
        "exchange or correct them"
    )


def test_weights_that_no_strand_has_are_asked_about_in_place_of_what_would_follow() -> None:
    light = ["--gross", f"{GROSS_G / 10:.2f}g", "--tare", "21.2g", *WEIGHED]
    told = faults_of("together", "--layer", "5:99.0mm", *light)
    assert told == {"mass": f"did you mean {RIGHT}? {GROSS_G / 10:g} g less 21.2 g is far from what this wind can have"}
    assert f"Did you mean {RIGHT}?" in calibrate("weight", *light).stdout


def test_a_weight_that_is_right_or_wrong_by_something_else_is_not_asked_about() -> None:
    for net_g in (NET_G, 1.1 * NET_G, 2 * NET_G, 0.5 * NET_G):
        shown = calibrate("weight", "--gross", f"{212 + net_g:.1f}g", "--tare", "212g", *WEIGHED).stdout
        assert "Did you mean" not in shown, net_g
    # 2.5 g of a spool that may have been 25 g: the mass is no further off than chance explains
    within = ["--gross", f"{1.0375 * NET_G + 2.5:.1f}g", "--tare", "2.5g", *WEIGHED]
    for way in (["weight"], ["together", "--layer", "5:99.0mm"]):
        assert "Did you mean" not in calibrate(*way, *within).stdout


@pytest.mark.parametrize(
    ("gross_g", "empty_g", "meant"),
    [
        # 1000 g are expected: 1171 g are too much by no more than a tare of 190 g with a slipped point
        (1190, 19, "1190 g less 190 g"),
        # 61 g that are 6.1 g would leave 975 g rather than 920 g, but no spool of a kilogram weighs so little
        (981, 61, ""),
        # twice as near is not near
        (700, 100, ""),
        # strand weighed alone
        (10_000, 0, "1000 g less 0 g"),
        (1000, 0, ""),
        # both are near: 50 g for 5 g must be nearer by half
        (1015, 5, ""),
        (1032, 5, ""),
        (1037, 5, "1037 g less 50 g"),
    ],
)
def test_a_slip_must_bring_the_strand_near_and_leave_a_spool_that_can_bear_it(
    gross_g: float, empty_g: float, meant: str
) -> None:
    slip = weight_slip(MeasuredWind(gross_mass_g=gross_g, empty_mass_g=empty_g), 1000)
    assert (slip.meant if slip else "") == meant


def test_two_weights_slip_alike_or_one_of_them_alone() -> None:
    assert weight_slip(MeasuredWind(gross_mass_g=12_000, empty_mass_g=2000), 1000) == Slip(
        "12000 g less 2000 g", "1200 g less 200 g", 0.1
    )
    assert weight_slip(MeasuredWind(gross_mass_g=1200, empty_mass_g=20), 1000) == Slip(
        "1200 g less 20 g", "1200 g less 200 g", None
    )
    assert weight_slip(MeasuredWind(gross_mass_g=1200), 1000) is None
    assert weight_slip(MeasuredWind(empty_mass_g=200), 1000) is None


def test_an_outer_diameter_that_no_fit_comes_near_is_asked_about() -> None:
    wind = ["--spool", "quarter-kilo", "--machine", "narrow-dc", "--strand", "pla-1.75", "--turns", "180"]
    told = faults_of("together", "--gross", "179.6g", "--tare", "61g", "--layer", "7:872mm", "--layer", "3:72mm", *wind)
    assert told == {"outer diameter over layer 7": "did you mean 87.2 mm? 872 mm is far from what this wind can have"}
