"""What is told of a gear train: each finding at its limit, and what scripts read of it."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from reelwright.views.gear_table import check_text
from reelwright.winding.findings import GEOMETRY, OWN, PRACTICE
from reelwright.winding.gear_check import StrandStroke, TrainCheck, check_train
from reelwright.winding.gear_record import check_record, search_record
from reelwright.winding.gear_search import (
    Choice,
    WantedPitch,
    find_trains,
)
from reelwright.winding.gear_teeth import (
    ToothForm,
    contact_ratio,
    least_profile_shift,
    least_teeth,
    least_teeth_in_practice,
    tip_diameter_mm,
    undercut,
    undercut_limit,
)

SPUR = ToothForm()
ANY_STRAND = WantedPitch(Fraction("1.79"), Fraction("61.25"), Fraction(2))
WANTED = WantedPitch(Fraction("1.79"), Fraction("61.25"), Fraction(2), Fraction("1.75"))


def look_at(*stages: tuple[int, int], form: ToothForm = SPUR, coaxial: bool = False) -> TrainCheck:
    return check_train(stages, Fraction(2), form, want_coaxial=coaxial)


def codes(check: TrainCheck) -> list[str]:
    return [finding.code for finding in check.findings]


def lay_of(pitch: str, diameter: str = "2") -> TrainCheck:
    """A train that lays strand at this pitch."""
    return check_train(((20, 50),), Fraction(2), SPUR, [StrandStroke(Fraction(diameter), 5 * Fraction(pitch))])


def test_a_sound_train_has_nothing_to_warn_of() -> None:
    check = look_at((20, 36), (18, 30))
    assert check.ratio == 3
    assert check.turns_per_layer == 6
    assert codes(check) == []


def test_an_undercut_gear_is_named_with_what_mends_it() -> None:
    check = look_at((16, 60))
    assert codes(check) == ["undercut"]
    assert "16 teeth on shaft 1" in check.findings[0].message
    told = re.search(r"outward by at least (\S+) modules", check.findings[0].message)
    assert told is not None
    assert 0 <= float(told[1]) - least_profile_shift(16, SPUR) < 1e-3
    assert codes(look_at((60, 16))) == ["undercut"]
    assert codes(look_at((17, 60))) == []  # which practice takes
    assert codes(look_at((12, 60), form=ToothForm(helix_angle_deg=30))) == []


def test_the_profile_shift_told_is_enough() -> None:
    # by hand: 1 - 10 sin^2(20 degrees) / 2 = 0.41511
    assert "at least 0.416 modules" in look_at((10, 60)).findings[0].message
    assert "yes, shift 0.416" in check_text(look_at((10, 60)))


def test_the_profile_shift_told_moves_the_limit_to_the_gear() -> None:
    # a cutter withdrawn by x modules undercuts below (1 - x) of the limit
    assert (1 - least_profile_shift(11, SPUR)) * undercut_limit(SPUR) == pytest.approx(11)


def test_a_limit_of_whole_teeth_is_free_of_undercut_itself() -> None:
    # 2 / sin^2(30 degrees) is 8, whatever rounding adds to it
    steep = ToothForm(pressure_angle_deg=30)
    assert least_teeth(steep) == 8
    assert undercut(8, steep) == "none"
    assert least_profile_shift(8, steep) == 0


def test_practice_takes_the_nearest_whole_number_of_teeth() -> None:
    for pressure_deg, limit, in_practice in ((19.77, 17.48, 17), (19.74, 17.53, 18)):
        form = ToothForm(pressure_angle_deg=pressure_deg)
        assert undercut_limit(form) == pytest.approx(limit, abs=5e-3)
        assert least_teeth_in_practice(form) == in_practice


def test_teeth_stand_one_module_above_the_pitch_circle() -> None:
    assert tip_diameter_mm(12, ToothForm(module_mm=3)) == 36 + 2 * 3


def test_teeth_that_hardly_overlap_are_told() -> None:
    assert contact_ratio(9, 9, SPUR) < 1.2 < contact_ratio(12, 12, SPUR)
    assert "low_contact" in codes(look_at((9, 9)))
    assert "low_contact" not in codes(look_at((12, 12)))


def test_the_contact_told_is_no_nearer_to_the_limit_than_it_is() -> None:
    # by hand: contact from one base circle to the other is 10 tan(20 degrees) / pi = 10 x 0.36397 / 3.14159 = 1.1586
    told = next(each for each in look_at((10, 10)).findings if each.code == "low_contact")
    assert "have 1.15 pairs in contact, less than the 1.2 of" in told.message


def test_contact_ends_where_the_involute_does() -> None:
    # between two gears of 5 teeth the line of action touches both base circles inside the tip circles
    assert contact_ratio(5, 5, SPUR) == contact_ratio(5, 5, SPUR, addendum=2)


def test_a_shaft_that_stands_in_a_gear_is_told() -> None:
    # module 1: the gear of 50 reaches 26 mm; the next centre distance is 26 mm with 20:32, 26.5 mm with 20:33
    assert codes(look_at((20, 50), (20, 32))) == ["shaft_in_the_way"]
    assert codes(look_at((20, 50), (20, 33))) == []
    # and towards the spool: the driver of 50 reaches 26 mm too
    assert codes(look_at((20, 32), (50, 20))) == ["shaft_in_the_way"]
    assert codes(look_at((20, 33), (50, 20))) == []


def test_equal_centre_distances_make_a_train_coaxial() -> None:
    assert look_at((20, 50), (30, 40)).coaxial
    assert not look_at((20, 50), (30, 41)).coaxial
    assert not look_at((20, 50)).coaxial
    assert codes(look_at((20, 50), (30, 40), coaxial=True)) == []
    missed = look_at((20, 50), (30, 41), coaxial=True)
    assert codes(missed) == ["not_coaxial"]
    assert "35.000 and 35.500 mm" in missed.findings[0].message
    assert codes(look_at((20, 50), (30, 40), (35, 35), coaxial=True)) == ["not_coaxial"]


def test_each_finding_tells_its_figure_its_limit_and_whose_it_is() -> None:
    told = [
        look_at((16, 60)),
        look_at((9, 9)),
        look_at((20, 50), (20, 32)),
        look_at((20, 50), (30, 41), coaxial=True),
        look_at((20, 50), coaxial=True),
        lay_of("2.6"),
        lay_of("1.9"),
    ]
    found = {
        finding.code: (finding.value, finding.limit, finding.unit, finding.source)
        for check in told
        for finding in check.findings
        if finding.code != "undercut" or finding.value == 16
    }
    assert found == {
        "undercut": (16, 17, "teeth", GEOMETRY),
        "low_contact": (contact_ratio(9, 9, SPUR), 1.2, "", PRACTICE),
        "shaft_in_the_way": (26, 26, "mm", GEOMETRY),
        "not_coaxial": (None, None, "", GEOMETRY),
        "pitch_wide": (2.6, 2.5, "mm", OWN),
        "pitch_tight": (1.9, 2, "mm", GEOMETRY),
    }
    (missed,) = told[3].findings
    assert (missed.value, missed.limit, missed.unit, missed.source) == (0.5, 0, "mm", GEOMETRY)


def test_each_finding_tells_what_to_do() -> None:
    told = [
        look_at((9, 9)),
        look_at((20, 50), (20, 32)),
        look_at((20, 50), coaxial=True),
        look_at((20, 50), (30, 41), coaxial=True),
        lay_of("2.6"),
        lay_of("1.9"),
    ]
    assert [check.findings[-1].remedy for check in told] == [
        "Take more teeth.",
        "End that shaft before the gear, or share the ratio otherwise between the stages.",
        "Share the ratio between two stages with the same sum of teeth.",
        "Take gears with the same sum of teeth in both stages.",
        "Turns touch at a stroke of 10.00 mm; more turns per layer mend it too.",
        "It needs at least a stroke of 10.00 mm, or fewer turns per layer.",
    ]


def test_a_train_that_cannot_end_where_it_begins_is_told_by_its_stages() -> None:
    assert "A train of one stage cannot" in look_at((20, 50), coaxial=True).findings[-1].message
    assert "A train of 3 stages cannot" in look_at((20, 50), (30, 40), (35, 35), coaxial=True).findings[-1].message


@pytest.mark.parametrize(
    ("pitch", "verdict", "told"),
    [
        ("1.999", "climbs", ["pitch_tight"]),
        ("2", "good", []),
        ("2.5", "good", []),
        ("2.501", "gaps", ["pitch_wide"]),
    ],
)
def test_a_pitch_is_judged_by_the_limits_of_the_fit(pitch: str, verdict: str, told: list[str]) -> None:
    check = lay_of(pitch)
    assert check.lays[0].verdict == verdict
    assert check.lays[0].error_mm == Fraction(pitch) - 2
    assert codes(check) == told


def test_a_train_alternates_hands_so_that_gears_on_one_shaft_share_theirs() -> None:
    check = look_at((20, 30), (20, 30), (20, 30), form=ToothForm(helix_angle_deg=20))
    assert [(mesh.driver.hand, mesh.driven.hand) for mesh in check.meshes] == [
        ("right", "left"),
        ("left", "right"),
        ("right", "left"),
    ]
    assert [(mesh.driver.shaft, mesh.driven.shaft) for mesh in check.meshes] == [(1, 2), (2, 3), (3, 4)]


def test_herringbone_halves_are_mirrored_in_both_gears_and_push_no_shaft() -> None:
    form = ToothForm(helix_angle_deg=30, herringbone=True)
    mesh = look_at((20, 30), form=form).meshes[0]
    assert (mesh.driver.hand, mesh.driven.hand) == ("right/left", "left/right")
    assert form.thrust_share == 0
    assert ToothForm(helix_angle_deg=45).thrust_share == pytest.approx(1)


def test_spur_gears_have_no_hand() -> None:
    assert {gear.hand for mesh in look_at((20, 30)).meshes for gear in (mesh.driver, mesh.driven)} == {"none"}


FORM_KEYS = {
    "kind", "module_mm", "pressure_angle_deg", "helix_angle_deg", "least_teeth", "least_teeth_in_practice",
    "thrust_share",
}  # fmt: skip


def test_scripts_read_a_check_under_these_keys() -> None:
    form = ToothForm(module_mm=2, helix_angle_deg=30)
    strands = [StrandStroke(Fraction("1.75"), Fraction(12))]
    record = check_record(check_train(((20, 36), (18, 30)), Fraction(2), form, strands, dwell_turns=Fraction(1, 2)))
    meshes, lays = record.pop("meshes"), record.pop("lays")
    assert set(record) == FORM_KEYS | {
        "gears", "ratio", "screw_turns_per_pass", "turns_per_layer", "dwell_turns", "screw_turns_same_way", "coaxial",
        "warnings",
    }  # fmt: skip
    assert (record["kind"], record["module_mm"], record["pressure_angle_deg"]) == ("helical", 2, 20)
    assert record["thrust_share"] == pytest.approx(3**-0.5)  # the tangent of 30 degrees
    assert isinstance(meshes, list)
    assert isinstance(lays, list)
    assert lays == [
        {
            "strand_diameter_mm": 1.75,
            "stroke_mm": 12,
            "lay_pitch_mm": 12 / 5.5,
            "pitch_error_mm": pytest.approx(12 / 5.5 - 1.75),
            "verdict": "good",
            "touching_stroke_mm": 9.625,
        }
    ]
    mesh = meshes[0]
    driver, driven = mesh.pop("driver"), mesh.pop("driven")
    assert set(mesh) == {
        "centre_distance_mm", "contact_ratio", "common_factor", "hunting", "driver_turns_to_repeat"
    }  # fmt: skip
    assert (mesh["common_factor"], mesh["hunting"], repr(mesh["driver_turns_to_repeat"])) == (4, False, "9")
    assert driver == {
        "teeth": 20,
        "shaft": 1,
        "hand": "right",
        "pitch_diameter_mm": pytest.approx(40 / (3**0.5 / 2)),
        "tip_diameter_mm": pytest.approx(40 / (3**0.5 / 2) + 4),
        "undercut": "none",
        "least_profile_shift": 0,
    }
    assert (driven["teeth"], driven["shaft"], driven["hand"]) == (36, 2, "left")


def test_scripts_read_a_search_under_these_keys() -> None:
    form = ToothForm(module_mm=2)
    record = search_record(find_trains(WANTED, Choice(18, 80), 1), WANTED, form)
    trains = record.pop("trains")
    assert isinstance(trains, list)
    assert (
        record.items()
        >= {
            "wanted_pitch_mm": 1.79,
            "stroke_mm": 61.25,
            "screw_turns_per_pass": "2",
            "dwell_turns": "0",
            "strand_diameter_mm": 1.75,
            "tolerance_percent": float(100 * WANTED.tolerance),
        }.items()
    )
    assert set(record) == FORM_KEYS | {
        "wanted_pitch_mm", "stroke_mm", "screw_turns_per_pass", "dwell_turns", "strand_diameter_mm",
        "tolerance_percent", "trains_in_reach",
    }  # fmt: skip
    assert search_record(find_trains(ANY_STRAND, Choice(18, 80), 1), ANY_STRAND, form)["strand_diameter_mm"] is None
    (train,) = trains
    assert set(train) == {
        "gears", "ratio", "turns_per_layer", "lay_pitch_mm", "pitch_error_mm", "pitch_error_percent", "total_teeth",
        "pitch_diameters_mm", "gear_count", "meshes", "screw_turns_same_way", "coaxial", "warnings",
        "within_tolerance", "verdict",
    }  # fmt: skip
    # 18:72 and 18:77, at two turns of the screw 308/9 spool turns a layer
    assert (train["ratio"], train["turns_per_layer"], train["total_teeth"]) == ("154/9", "308/9", 185)
    assert (train["gear_count"], train["pitch_diameters_mm"]) == (4, 370)
    pitch_mm = 61.25 / (308 / 9)
    assert train["pitch_error_mm"] == pytest.approx(pitch_mm - 1.79, rel=1e-9)
    assert train["pitch_error_percent"] == pytest.approx(100 * (pitch_mm / 1.79 - 1), rel=1e-9)


def test_a_train_exactly_at_the_tolerance_is_told_to_be_within_it() -> None:
    # 20:40 lays at 4.2 / 2 = 2.1 mm, which is 5 % from 2 mm
    wanted = WantedPitch(Fraction(2), Fraction("4.2"), Fraction(1), tolerance=Fraction(1, 20))
    (train,) = search_record(find_trains(wanted, Choice(1, 1, 1, (20, 40))), wanted, SPUR)["trains"]
    assert (train["lay_pitch_mm"], train["within_tolerance"]) == (2.1, True)
