"""What is told of a gear train: each finding at its limit, and what a search refuses."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding.findings import GEOMETRY, OWN, PRACTICE
from reelwright.winding.gear_check import StrandStroke, TrainCheck, check_train
from reelwright.winding.gear_record import check_record, search_record
from reelwright.winding.gear_search import (
    MOST_COUNTS,
    MOST_COUNTS_COAXIAL,
    MOST_GEARS_AT_HAND,
    Choice,
    WantedPitch,
    arranged,
    choice_faults,
    find_trains,
    find_well_laying,
    usual_pitch_mm,
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
    assert f"{least_profile_shift(16, SPUR):.3f} modules" in check.findings[0].message
    assert codes(look_at((60, 16))) == ["undercut"]
    assert codes(look_at((17, 60))) == []  # which practice takes
    assert codes(look_at((12, 60), form=ToothForm(helix_angle_deg=30))) == []


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


def test_pairing_keeps_the_largest_centre_distance_small() -> None:
    assert arranged((18, 18), (72, 77), coaxial=False) == ((18, 72), (18, 77))
    assert arranged((18, 40), (30, 80), coaxial=False) == ((18, 80), (40, 30))
    assert arranged((18, 40), (58, 80), coaxial=True) == ((18, 80), (40, 58))
    assert arranged((18, 40), (58, 81), coaxial=True) is None


def test_a_train_that_lays_closer_than_the_strand_is_never_offered() -> None:
    diameter = Fraction("1.75")
    touching = find_trains(WantedPitch(diameter, WANTED.stroke_mm, Fraction(2), diameter), Choice(18, 80), 50)
    whatever = find_trains(WantedPitch(diameter, WANTED.stroke_mm, Fraction(2)), Choice(18, 80), 50)
    assert touching.trains
    assert all(train.pitch_mm >= diameter for train in touching.trains)
    assert any(train.pitch_mm < diameter for train in whatever.trains)


def test_within_a_step_of_pitch_error_the_smaller_train_goes_first() -> None:
    trains = find_trains(WANTED, Choice(18, 80)).trains
    assert [train.stages for train in trains[:2]] == [((18, 72), (18, 77)), ((18, 73), (18, 76))]
    assert [train.total_teeth for train in trains[:8]] == sorted(train.total_teeth for train in trains[:8])


def test_a_simple_train_goes_before_a_compound_one_of_equal_pitch() -> None:
    assert find_trains(WantedPitch(Fraction(1), Fraction(3), Fraction(1)), Choice(18, 80)).trains[0].stages == (
        (18, 54),
    )


def test_of_equal_pitch_and_equal_teeth_in_all_the_fewer_gears_go_first() -> None:
    found = find_trains(WantedPitch(Fraction(1), Fraction(2), Fraction(1), tolerance=Fraction(0)), Choice(3, 12), 100)
    assert [train.stages for train in found.trains if train.total_teeth == 15] == [((5, 10),), ((3, 3), (3, 6))]


def test_where_none_is_near_enough_the_nearest_is_told() -> None:
    search = find_trains(WANTED, Choice(18, 40))
    assert search.trains == ()
    assert search.nearest is not None
    assert search.nearest.stages == ((18, 40), (18, 40))


def test_a_train_that_leaves_gaps_takes_no_place_from_one_that_lays_the_strand_well() -> None:
    # 20:35 lays at 2.4 mm, nearer to the pitch and beyond 1.25 x 1.75 = 2.1875 mm; 20:40 at 2.1 mm
    wanted = WantedPitch(Fraction("2.3"), Fraction("4.2"), Fraction(1), Fraction("1.75"))
    (shown,) = find_well_laying(wanted, Choice(1, 1, 1, (20, 35, 40)), 1).trains
    assert (shown.stages, shown.pitch_mm) == (((20, 40),), Fraction("2.1"))


def test_where_every_train_climbs_there_is_no_nearest() -> None:
    thick = WantedPitch(Fraction(60), Fraction(61), Fraction(2), Fraction(60))
    search = find_trains(thick, Choice(18, 30, 1))
    assert (search.trains, search.nearest) == ((), None)
    assert search.reach == 13 * 13


@pytest.mark.parametrize(
    ("choice", "reach"),
    [
        (Choice(1, 1, 1, (20, 30)), 2),  # each drives the other
        (Choice(1, 1, 1, (20, 20)), 1),
        (Choice(1, 1, 2, (20, 30, 40, 50)), 4 * 3 + 6),  # a pair, or two drivers of four
        (Choice(1, 1, 2, (20,) * 6), 2),  # one stage or two, never three
        (Choice(1, 1, 2, (20, 30, 40, 50), coaxial=True), 6),
        # sums of 10 and of 12 are of equal gears, and of 11 a stage is 5:6 or 6:5
        (Choice(5, 6, 2, coaxial=True), 1 + 3 + 1),
    ],
)
def test_the_trains_in_reach_are_counted_whatever_their_pitch(choice: Choice, reach: int) -> None:
    assert find_trains(ANY_STRAND, choice).reach == reach


def test_a_coaxial_search_finds_the_one_train_that_has_the_pitch() -> None:
    # 7:8 and 7:8 turn 64 to 49, and 64/49 turns of 1 mm pitch fill such a stroke
    wanted = WantedPitch(Fraction(1), Fraction(64, 49), Fraction(1), tolerance=Fraction(0))
    (found,) = find_trains(wanted, Choice(6, 9, coaxial=True)).trains
    assert found.stages == ((7, 8), (7, 8))


def test_of_the_gears_at_hand_no_train_is_offered_that_climbs_or_misses_its_axis() -> None:
    # 20:30 lays at 1.967 mm, within the tolerance and closer than the strand; 30:20 at 4.425 mm
    wanted = WantedPitch(Fraction(2), Fraction("5.9"), Fraction(2), Fraction(2), Fraction(1, 20))
    search = find_trains(wanted, Choice(1, 1, 1, (20, 30)))
    assert search.trains == ()
    assert search.nearest is not None
    assert search.nearest.stages == ((30, 20),)
    # 18 + 80 and 40 + 58 are equal, and with 81 no two pairs are
    assert find_trains(ANY_STRAND, Choice(1, 1, 2, (18, 40, 58, 80), coaxial=True)).nearest is not None
    assert find_trains(ANY_STRAND, Choice(1, 1, 2, (18, 40, 58, 81), coaxial=True)).nearest is None


def test_the_pitch_to_aim_at_leaves_room_for_the_thickest_strand() -> None:
    assert usual_pitch_mm(Fraction("1.75"), Fraction("0.02")) == Fraction("1.79")


@pytest.mark.parametrize(
    ("choice", "fields"),
    [
        (Choice(18, 80, 2), []),
        (Choice(0, 80, 2), ["least_teeth"]),
        (Choice(-3, -5, 0), ["stages", "least_teeth", "most_teeth"]),
        (Choice(30, 20, 4), ["stages", "most_teeth"]),
        (Choice(18, 80, 1, coaxial=True), ["stages"]),
        (Choice(1, MOST_COUNTS[3], 3), []),
        (Choice(1, MOST_COUNTS[3] + 1, 3), ["most_teeth"]),
        (Choice(1, MOST_COUNTS[2] + 1, 2), ["most_teeth"]),
        (Choice(1, MOST_COUNTS_COAXIAL, 2, coaxial=True), []),
        (Choice(1, MOST_COUNTS_COAXIAL + 1, 2, coaxial=True), ["most_teeth"]),
        (Choice(0, 0, 1), ["least_teeth", "most_teeth"]),
        (Choice(1, 1, 2, (20,)), ["at_hand"]),
        (Choice(1, 1, 1, (20, 1)), []),
        (Choice(1, 1, 4, (20, 30)), ["stages"]),
        (Choice(1, 1, 2, (20, 30, 40), coaxial=True), ["at_hand"]),
        (Choice(1, 1, 2, (20, 0, -4)), ["at_hand", "at_hand"]),
        (Choice(1, 1, 3, (20,) * MOST_GEARS_AT_HAND[3]), []),
        (Choice(1, 1, 3, (20,) * (MOST_GEARS_AT_HAND[3] + 1)), ["at_hand"]),
    ],
)
def test_an_impossible_choice_is_refused_with_all_that_is_wrong(choice: Choice, fields: list[str]) -> None:
    assert [field for field, _ in choice_faults(choice)] == fields
    if fields:
        with pytest.raises(ValueError, match=r"cannot|leave no gear|too many|make no such train"):
            find_trains(WANTED, choice)


def test_an_impossible_search_is_told_with_what_would_be_possible() -> None:
    def sentences(choice: Choice) -> list[str]:
        return [sentence for _, sentence in choice_faults(choice)]

    assert sentences(Choice(18, 80, 1, coaxial=True)) == ["one stage cannot end on the axis it begins on; give 2"]
    assert sentences(Choice(1, 300, 2)) == [
        "1 to 300 are 300 numbers of teeth, too many to try; a 2-stage search takes 200"
    ]
    (coaxial,) = sentences(Choice(1, 300, 2, coaxial=True))
    assert coaxial.endswith(f"a coaxial search takes {MOST_COUNTS_COAXIAL}")


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
