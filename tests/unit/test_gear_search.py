"""What a search for gear trains finds, in which order, and which choices of gears it refuses."""

from __future__ import annotations

from fractions import Fraction

import pytest

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

ANY_STRAND = WantedPitch(Fraction("1.79"), Fraction("61.25"), Fraction(2))
WANTED = WantedPitch(Fraction("1.79"), Fraction("61.25"), Fraction(2), Fraction("1.75"))


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


def test_of_trains_alike_in_step_teeth_and_gears_the_nearer_goes_first() -> None:
    # 10:12, 10:12 and 10:11, 10:13 have 44 teeth; 1.435 mm / 1.44 misses 1 mm by 3.47 steps, 1.435 mm / 1.43 by 3.50
    wanted = WantedPitch(Fraction(1), Fraction("1.435"), Fraction(1), tolerance=Fraction(1, 5))
    assert find_trains(wanted, Choice(10, 14, 2), 1).trains[0].stages == ((10, 12), (10, 12))


def test_of_two_nearest_trains_alike_in_pitch_the_smaller_is_told() -> None:
    # 4:6 and 6:9 lay at 1.49 / 1.5 mm, and no other train of these gears is nearer
    wanted = WantedPitch(Fraction(1), Fraction("1.49"), Fraction(1), tolerance=Fraction(0))
    nearest = find_trains(wanted, Choice(4, 9, 1)).nearest
    assert nearest is not None
    assert nearest.stages == ((4, 6),)


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
