"""Gear trains and their teeth, against worked examples of textbooks and another library's geometry."""

from __future__ import annotations

from fractions import Fraction
from math import cos, degrees, pi, radians

import pytest

from reelwright.winding.gear_check import check_train
from reelwright.winding.gear_search import Choice, WantedPitch, find_trains
from reelwright.winding.gear_teeth import (
    ToothForm,
    centre_distance_mm,
    contact_ratio,
    helix_hands,
    least_profile_shift,
    least_teeth,
    least_teeth_in_practice,
    meeting_teeth,
    pitch_diameter_mm,
    undercut,
    undercut_limit,
)
from reelwright.winding.gears import train_ratio, turns_same_way

SPUR = ToothForm()


def ratio_wanted(ratio: Fraction) -> WantedPitch:
    """A question that only trains of exactly this ratio answer."""
    return WantedPitch(Fraction(1), stroke_mm=ratio, screw_turns_per_pass=Fraction(1), tolerance=Fraction(0))


def test_centre_distance_of_a_spur_pair() -> None:
    # gear handbooks, from memory: module 3, 12 and 24 teeth, m (z1 + z2) / 2 = 54 mm
    assert centre_distance_mm(12, 24, ToothForm(module_mm=3)) == pytest.approx(54, rel=1e-15)


def test_centre_distance_and_diameters_of_a_helical_pair() -> None:
    # mn 3, 12 and 60 teeth, 30 degrees: mn (z1 + z2) / (2 cos beta) = 124.7077 mm, computed;
    # pitch diameters 41.569 and 207.846 mm, gear handbooks, from memory
    form = ToothForm(module_mm=3, helix_angle_deg=30)
    assert centre_distance_mm(12, 60, form) == pytest.approx(124.7077, abs=5e-5)
    assert pitch_diameter_mm(12, form) == pytest.approx(41.569, abs=5e-4)
    assert pitch_diameter_mm(60, form) == pytest.approx(207.846, abs=5e-4)


def test_a_helical_pair_of_an_online_worked_example() -> None:
    # machinecalcs.com, helical gear calculator, worked example: 20 and 40 teeth, mn 2, 20 degrees:
    # transverse module 2.1284, pitch diameters 42.57 and 85.13, centre distance 63.85 mm
    form = ToothForm(module_mm=2, helix_angle_deg=20)
    assert form.transverse_module_mm == pytest.approx(2.1284, abs=5e-5)
    assert pitch_diameter_mm(20, form) == pytest.approx(42.57, abs=5e-3)
    assert pitch_diameter_mm(40, form) == pytest.approx(85.13, abs=5e-3)
    assert centre_distance_mm(20, 40, form) == pytest.approx(63.85, abs=5e-3)


def test_spur_gears_of_20_degrees_are_undercut_below_18_teeth() -> None:
    # gear handbooks, from memory: 2 / sin^2(20 deg) = 17.10, so 18, and 17 in practice; the 18 for a pinion with a
    # rack also in a textbook of mechanics of machines, "Toothed gearing", example 4, p. 334
    assert undercut_limit(SPUR) == pytest.approx(17.10, abs=5e-3)
    assert least_teeth(SPUR) == 18
    assert least_teeth_in_practice(SPUR) == 17
    assert [undercut(teeth, SPUR) for teeth in (16, 17, 18)] == ["undercut", "slight", "none"]


def test_a_steeper_tooth_allows_fewer() -> None:
    # gear handbooks, from memory: 32 teeth at 14.5 degrees, 12 at 25 degrees
    assert least_teeth(ToothForm(pressure_angle_deg=14.5)) == 32
    assert least_teeth(ToothForm(pressure_angle_deg=25)) == 12


def test_a_helix_allows_fewer_teeth() -> None:
    # Shigley's Mechanical Engineering Design, helical gears, formula and 22.80 degrees from memory: 20 degrees normal,
    # helix 30 degrees: 2 cos 30 / sin^2 22.80 = 11.53, so 12 teeth with a rack
    form = ToothForm(helix_angle_deg=30)
    assert degrees(form.transverse_pressure_rad) == pytest.approx(22.80, abs=5e-3)
    assert undercut_limit(form) == pytest.approx(11.53, abs=0.01)
    assert least_teeth(form) == 12


def test_the_profile_shift_that_frees_a_gear_of_ten_teeth() -> None:
    # gear handbooks, from memory: x = (17 - z) / 17 with the limit rounded: 0.41 for 10 teeth
    assert least_profile_shift(10, SPUR) == pytest.approx(7 / 17, abs=4e-3)
    assert least_profile_shift(18, SPUR) == 0


def test_the_arc_of_contact_of_a_textbook_pair() -> None:
    # theory of machines, "Gears and gear drivers", illustration 1, p. 133: 48 and 30 teeth, module 5, 20 degrees,
    # addendum one module: arc of contact 26.7 mm, which is the contact ratio times the circular pitch
    assert contact_ratio(48, 30, SPUR) * pi * 5 == pytest.approx(26.7, abs=0.05)


def test_the_path_of_contact_of_a_textbook_pair() -> None:
    # Theory of Machines, "Toothed gearing", example 12.3, p. 398: 30 drives 80, module 12, addendum 10 mm:
    # path of contact 52.3 mm, which is the contact ratio times the base pitch
    ratio = contact_ratio(30, 80, SPUR, addendum=10 / 12)
    assert ratio * pi * 12 * cos(radians(20)) == pytest.approx(52.3, abs=0.05)


@pytest.mark.parametrize(
    ("driver", "driven", "helix_deg", "ratio"),
    [
        # PyPI `py_gearworks` 0.0.24, which intersects the line of action with the drawn flanks
        (18, 36, 0, 1.611108),
        (30, 80, 0, 1.739635),
        (20, 50, 30, 1.357979),
        (14, 55, 25, 1.415999),
    ],
)
def test_the_contact_ratio_of_another_librarys_drawn_gears(
    driver: int, driven: int, helix_deg: float, ratio: float
) -> None:
    assert contact_ratio(driver, driven, ToothForm(helix_angle_deg=helix_deg)) == pytest.approx(ratio, abs=5e-6)


def test_hands_of_gears_that_mesh_on_parallel_shafts_are_opposite() -> None:
    # gear handbooks: rule for helical and for herringbone gears
    for form in (ToothForm(helix_angle_deg=20), ToothForm(helix_angle_deg=30, herringbone=True)):
        for driver, driven in helix_hands(3, form):
            assert set(driver.split("/")) <= {"right", "left"}
            assert [{"right": "left", "left": "right"}[half] for half in driver.split("/")] == driven.split("/")


def test_a_compound_train_of_a_textbook_turns_975_rpm_into_52() -> None:
    # Theory of Machines, "Gear trains", example 13.1, p. 432: 20:50, 25:75, 26:65
    assert Fraction(975) / train_ratio([(20, 50), (25, 75), (26, 65)]) == 52


@pytest.mark.parametrize("train", [((6, 200), (5, 216)), ((6, 72), (6, 60), (5, 60))])
def test_two_ways_to_a_turn_a_day_from_a_turn_a_minute(train: tuple[tuple[int, int], ...]) -> None:
    # B. Hayes, "On the teeth of wheels", American Scientist, July-August 2000
    assert train_ratio(train) == 1440


def test_each_pair_of_wheels_turns_the_sense_round() -> None:
    # a layshaft: its output turns as its input does (mechanics of machines, any textbook; from memory)
    assert [turns_same_way(stages) for stages in (1, 2, 3)] == [False, True, False]


def test_the_smallest_coaxial_gearbox_of_exactly_30_to_1() -> None:
    # Shigley's Mechanical Engineering Design, example 13-5: input and output in line, exactly 30 : 1 as 6 x 5,
    # no pinion below 16 teeth: 108:18 and 105:21
    check = check_train(((18, 108), (21, 105)), Fraction(1), SPUR, want_coaxial=True)
    assert check.ratio == 30
    assert check.coaxial
    assert "not_coaxial" not in {finding.code for finding in check.findings}
    found = find_trains(ratio_wanted(Fraction(30)), Choice(16, 108, coaxial=True), 100).trains
    six_by_five = [train for train in found if {Fraction(b, a) for a, b in train.stages} == {Fraction(6), Fraction(5)}]
    assert six_by_five[0].stages == ((18, 108), (21, 105))


@pytest.mark.parametrize(
    ("ratio", "drivers", "driven"),
    [(Fraction(26, 4), {25, 30}, {65, 75}), (Fraction(35, 4), {30, 40}, {105, 100})],
)
def test_change_wheels_of_a_lathe_from_the_set_that_comes_with_it(
    ratio: Fraction, drivers: set[int], driven: set[int]
) -> None:
    # mechanics of machines, "Gear trains", example 1, p. 369: lead screw at 4 rpm, spindle at 26 and at 35;
    # the set of 20 to 120 teeth in fives is common practice of lathes
    wheels = tuple(range(20, 125, 5))
    found = find_trains(ratio_wanted(ratio), Choice(1, 1, 2, at_hand=wheels), 100).trains
    assert (drivers, driven) in [({a for a, _ in train.stages}, {b for _, b in train.stages}) for train in found]
    if ratio.numerator % 13 == 0:  # "the only wheel in the set of which 13 is a factor is that with 65 teeth"
        assert all(65 in {b for _, b in train.stages} for train in found)


@pytest.mark.parametrize(
    ("larger", "smaller", "larger_turns", "smaller_turns"),
    [
        (60, 20, 1, 3),  # n divides N: a = N teeth pass, b = N / n turns of the small wheel, c = 1 of the large
        (60, 25, 5, 12),  # greatest common divisor 5: b = N / 5, c = n / 5
        (49, 24, 24, 49),  # prime to each other: b = N, c = n
    ],
)
def test_how_often_the_same_teeth_meet(larger: int, smaller: int, larger_turns: int, smaller_turns: int) -> None:
    # Encyclopaedia Britannica, 11th ed., "Mechanics", frequency of contact; millwrights want prime numbers
    assert meeting_teeth(smaller, larger).driver_turns == smaller_turns
    assert meeting_teeth(larger, smaller).driver_turns == larger_turns
    assert meeting_teeth(smaller, larger).hunting is ((larger, smaller) == (49, 24))
