"""What holds for every gear train and every search for one."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise, permutations, product
from math import radians, tan

from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from reelwright.winding.gear_check import StrandStroke, check_train
from reelwright.winding.gear_record import check_record
from reelwright.winding.gear_search import (
    RANK_STEP,
    Choice,
    FoundTrain,
    WantedPitch,
    find_trains,
    find_well_laying,
)
from reelwright.winding.gear_teeth import ToothForm, contact_ratio, helix_hands, least_teeth, undercut_limit
from reelwright.winding.gears import train_ratio, turns_per_layer

Key = tuple[int, int, int, Fraction, tuple[int, ...], tuple[int, ...]]

fractions = st.fractions(Fraction(1, 3), 4, max_denominator=12)
wanteds = st.builds(
    lambda pitch, ratio, screw, thinner, tolerance, dwell: WantedPitch(
        pitch, pitch * ratio * screw, screw, None if thinner is None else pitch * thinner, tolerance, dwell
    ),
    fractions,
    st.fractions(Fraction(1, 8), 8, max_denominator=30),
    st.fractions(1, 9, max_denominator=2),
    st.none() | st.just(Fraction(1)) | st.fractions(Fraction(9, 10), Fraction(11, 10), max_denominator=50),
    st.sampled_from([Fraction(0), Fraction(1, 500), Fraction(1, 100), Fraction(1, 5), Fraction(3, 2)]),
    st.just(Fraction(0)) | st.fractions(0, 3, max_denominator=4),
)
# Pitch of a train to the wanted one: at the bounds of steps and tolerances, and anywhere about.
shares = st.sampled_from(
    [1 + Fraction(each, 1000) for each in (-200, -10, -2, -1, 0, 1, 2, 3, 10, 200)]
) | st.fractions(Fraction(9, 10), Fraction(11, 10), max_denominator=2000)
trains = st.lists(st.tuples(st.integers(5, 120), st.integers(5, 120)), min_size=1, max_size=3).map(tuple)


def key_of(found: FoundTrain, wanted: WantedPitch) -> Key:
    """Where a train stands in the ranking, from its gears alone."""
    drivers = tuple(sorted(driver for driver, _ in found.stages))
    driven = tuple(sorted(teeth for _, teeth in found.stages))
    return ranked(drivers, driven, wanted)


def ranked(drivers: tuple[int, ...], driven: tuple[int, ...], wanted: WantedPitch) -> Key:
    """The ranking by its words: steps of pitch error, teeth, gears, exact error, teeth of drivers and driven."""
    turns = turns_per_layer(zip(drivers, driven, strict=True), wanted.screw_turns_per_pass)
    error = abs(wanted.stroke_mm / (turns - wanted.dwell_turns) - wanted.pitch_mm)
    step = wanted.pitch_mm * RANK_STEP
    return int(error / step), sum(drivers) + sum(driven), 2 * len(drivers), error, drivers, driven


def pitch_of(key: Key, wanted: WantedPitch) -> Fraction:
    turns = turns_per_layer(zip(key[4], key[5], strict=True), wanted.screw_turns_per_pass)
    return wanted.stroke_mm / (turns - wanted.dwell_turns)


def all_by_force(wanted: WantedPitch, choice: Choice) -> list[Key]:
    """Every train there is, one after the other, best first, whatever its pitch error."""
    found = set()
    for stages in range(1, choice.stages + 1):
        if choice.coaxial and stages != 2:
            continue
        if choice.at_hand:
            orders = permutations(choice.at_hand, 2 * stages)
        else:
            orders = product(range(choice.least_teeth, choice.most_teeth + 1), repeat=2 * stages)
        for gears in orders:
            drivers, driven = gears[::2], gears[1::2]
            if choice.coaxial and len({a + b for a, b in zip(drivers, driven, strict=True)}) > 1:
                continue
            turns = turns_per_layer(zip(drivers, driven, strict=True), wanted.screw_turns_per_pass)
            if turns <= wanted.dwell_turns:
                continue
            pitch = wanted.stroke_mm / (turns - wanted.dwell_turns)
            if wanted.strand_diameter_mm is None or pitch >= wanted.strand_diameter_mm:
                found.add((tuple(sorted(drivers)), tuple(sorted(driven))))
    return sorted(ranked(drivers, driven, wanted) for drivers, driven in found)


def assert_as_by_force(wanted: WantedPitch, choice: Choice, count: int) -> None:
    search = find_trains(wanted, choice, count)
    slow = all_by_force(wanted, choice)
    within = [key for key in slow if key[3] <= wanted.pitch_mm * wanted.tolerance]
    assert [key_of(train, wanted) for train in search.trains] == within[:count]
    if search.trains or not slow:
        assert search.nearest is None
    else:
        assert search.nearest is not None
        assert key_of(search.nearest, wanted) == min(slow, key=lambda key: (key[3], *key))


def aimed(data: st.DataObject, wanted: WantedPitch, choice: Choice) -> WantedPitch:
    """The question with another stroke, so that a train of the choice has the wanted pitch, or one near it."""
    teeth = st.integers(choice.least_teeth, choice.most_teeth)
    stages = data.draw(st.integers(1, choice.stages))
    if choice.at_hand:
        gears = data.draw(st.permutations(choice.at_hand))
    elif choice.coaxial:
        gears = [each for each in data.draw(st.tuples(teeth, teeth)) for _ in range(2)]  # two equal stages
    else:
        gears = data.draw(st.lists(teeth, min_size=2 * stages, max_size=2 * stages))
    pairs = zip(gears[:stages], gears[stages : 2 * stages], strict=True)
    guided_turns = turns_per_layer(pairs, wanted.screw_turns_per_pass) - wanted.dwell_turns
    if guided_turns <= 0:
        return wanted
    return evolve(wanted, stroke_mm=data.draw(shares) * wanted.pitch_mm * guided_turns)


@settings(deadline=None, max_examples=80)
@given(wanteds, st.integers(1, 9), st.integers(0, 4), st.integers(1, 2), st.booleans(), st.integers(1, 12), st.data())
def test_a_search_finds_what_trying_every_train_finds(
    wanted: WantedPitch, least: int, more: int, stages: int, coaxial: bool, count: int, data: st.DataObject
) -> None:
    choice = Choice(least, least + more, stages, coaxial=coaxial and stages == 2)
    assert_as_by_force(aimed(data, wanted, choice), choice, count)


@settings(deadline=None, max_examples=20)
@given(wanteds, st.integers(3, 15), st.integers(0, 2), st.integers(1, 6), st.data())
def test_so_does_one_of_three_stages(
    wanted: WantedPitch, least: int, more: int, count: int, data: st.DataObject
) -> None:
    choice = Choice(least, least + more, 3)
    assert_as_by_force(aimed(data, wanted, choice), choice, count)


@settings(deadline=None, max_examples=60)
@given(wanteds, st.lists(st.integers(5, 30), min_size=4, max_size=6), st.booleans(), st.integers(1, 12), st.data())
def test_and_one_among_the_gears_at_hand_each_used_once(
    wanted: WantedPitch, gears: list[int], coaxial: bool, count: int, data: st.DataObject
) -> None:
    choice = Choice(1, 1, 2, tuple(gears), coaxial=coaxial)
    assert_as_by_force(aimed(data, wanted, choice), choice, count)


@settings(deadline=None, max_examples=80)
@given(
    wanteds,
    st.fractions(Fraction(1, 2), Fraction(6, 5), max_denominator=50),
    st.integers(5, 9),
    st.integers(0, 4),
    st.integers(1, 2),
    st.integers(1, 12),
    st.data(),
)
def test_where_none_is_near_enough_every_train_that_lays_the_strand_well_is_shown(
    wanted: WantedPitch, thinner: Fraction, least: int, more: int, stages: int, count: int, data: st.DataObject
) -> None:
    choice = Choice(least, least + more, stages)
    diameter = wanted.pitch_mm * thinner
    none_near = evolve(wanted, strand_diameter_mm=diameter, tolerance=min(wanted.tolerance, Fraction(1, 500)))
    wanted = aimed(data, none_near, choice)
    near, shown = find_trains(wanted, choice, count), find_well_laying(wanted, choice, count)
    if near.trains:
        assert shown == near
    else:
        well = [key for key in all_by_force(wanted, choice) if pitch_of(key, wanted) <= Fraction(5, 4) * diameter]
        assert [key_of(train, wanted) for train in shown.trains] == well[:count]
        assert (shown.nearest, shown.reach) == (near.nearest, near.reach)


@settings(deadline=None, max_examples=60)
@given(wanteds, st.integers(8, 20), st.integers(10, 40), st.integers(1, 2), st.booleans())
def test_every_train_found_has_exactly_the_pitch_that_it_is_said_to_have(
    wanted: WantedPitch, least: int, more: int, stages: int, coaxial: bool
) -> None:
    coaxial = coaxial and stages == 2
    search = find_trains(wanted, Choice(least, least + more, stages, coaxial=coaxial))
    keys = [key_of(train, wanted) for train in search.trains]
    assert keys == sorted(set(keys))
    for train in search.trains:
        turns = train_ratio(train.stages) * wanted.screw_turns_per_pass
        assert train.pitch_mm * (turns - wanted.dwell_turns) == wanted.stroke_mm
        assert train.pitch_error_mm == train.pitch_mm - wanted.pitch_mm
        assert abs(train.pitch_error_mm) <= wanted.tolerance * wanted.pitch_mm
        assert wanted.strand_diameter_mm is None or train.pitch_mm >= wanted.strand_diameter_mm
        assert all(least <= teeth <= least + more for stage in train.stages for teeth in stage)
        assert not coaxial or len({sum(stage) for stage in train.stages}) == 1


@settings(deadline=None, max_examples=40)
@given(wanteds, st.permutations([11, 12, 15, 18, 20, 20, 24]))
def test_the_order_in_which_gears_are_named_changes_nothing(wanted: WantedPitch, gears: list[int]) -> None:
    named = find_trains(wanted, Choice(1, 1, 2, tuple(gears)))
    assert named == find_trains(wanted, Choice(1, 1, 2, tuple(sorted(gears))))


@settings(deadline=None, max_examples=40)
@given(wanteds, st.integers(10, 16), st.integers(6, 20), st.integers(1, 20), st.integers(1, 20))
def test_a_longer_list_begins_with_the_shorter_one(
    wanted: WantedPitch, least: int, more: int, few: int, additional: int
) -> None:
    choice = Choice(least, least + more, 2)
    assert find_trains(wanted, choice, few + additional).trains[:few] == find_trains(wanted, choice, few).trains


@settings(deadline=None, max_examples=40)
@given(st.fractions(Fraction(1, 6), 6, max_denominator=25), st.integers(8, 14), st.integers(2, 16))
def test_the_mirrored_question_has_the_mirrored_answer(ratio: Fraction, least: int, more: int) -> None:
    """Trains of a ratio, driven from the other end, are those of its reciprocal."""

    def exact_trains(wanted: Fraction) -> set[tuple[tuple[int, ...], tuple[int, ...]]]:
        question = WantedPitch(Fraction(1), wanted, Fraction(1), tolerance=Fraction(0))
        found = find_trains(question, Choice(least, least + more, 2), 100_000).trains
        return {(key_of(train, question)[4], key_of(train, question)[5]) for train in found}

    assert exact_trains(1 / ratio) == {(driven, drivers) for drivers, driven in exact_trains(ratio)}


@given(trains)
def test_a_train_driven_from_its_other_end_has_the_reciprocal_ratio_and_the_same_distances(
    stages: tuple[tuple[int, int], ...],
) -> None:
    backwards = tuple((driven, driver) for driver, driven in reversed(stages))
    check, mirrored = (check_train(each, Fraction(2), ToothForm()) for each in (stages, backwards))
    assert check.ratio * mirrored.ratio == 1
    assert [mesh.centre_distance_mm for mesh in check.meshes] == [
        mesh.centre_distance_mm for mesh in reversed(mirrored.meshes)
    ]
    assert (check.same_way, check.coaxial) == (mirrored.same_way, mirrored.coaxial)


@given(st.integers(5, 150), st.integers(5, 150), st.floats(14, 30), st.floats(0, 45))
def test_contact_is_mutual_and_below_that_of_two_racks(a: int, b: int, pressure: float, helix: float) -> None:
    form = ToothForm(pressure_angle_deg=pressure, helix_angle_deg=helix)
    ratio = contact_ratio(a, b, form)
    assert abs(ratio - contact_ratio(b, a, form)) <= 1e-12
    assert 0 < ratio < contact_ratio(10_000_000, 10_000_000, form) + 1e-6


@given(st.floats(10, 35), st.floats(0, 60), st.floats(0, 60))
def test_more_helix_never_asks_for_more_teeth(pressure: float, one: float, other: float) -> None:
    little, much = (ToothForm(pressure_angle_deg=pressure, helix_angle_deg=each) for each in sorted((one, other)))
    assert undercut_limit(much) <= undercut_limit(little) + 1e-9
    assert least_teeth(little) - 1 < undercut_limit(little) <= least_teeth(little)


@given(st.integers(2, 3), st.floats(1, 45))
def test_the_pushes_of_the_two_gears_on_one_shaft_oppose_each_other(stage_count: int, helix: float) -> None:
    """The tooth force is square to the tooth line z + h theta tan(beta): Fz = -h Ftheta tan(beta)."""
    form = ToothForm(helix_angle_deg=helix)
    hands = helix_hands(stage_count, form)
    sign = {"right": 1, "left": -1}
    slope = tan(radians(helix))
    for (_, driven), (driver, _) in pairwise(hands):
        push_of_driven = -sign[driven] * 1.0 * slope  # is pushed the way the shaft turns
        push_of_driver = -sign[driver] * -1.0 * slope  # is held back by its mate
        assert push_of_driven * push_of_driver < 0


@given(trains, st.fractions(1, 20, max_denominator=4), st.fractions(Fraction(1, 2), 5), st.fractions(10, 200))
def test_a_stroke_that_touches_lays_turn_beside_turn(
    stages: tuple[tuple[int, int], ...], screw: Fraction, diameter: Fraction, stroke: Fraction
) -> None:
    lay = check_train(stages, screw, ToothForm(), [StrandStroke(diameter, stroke)]).lays[0]
    touching = check_train(stages, screw, ToothForm(), [StrandStroke(diameter, lay.touching_stroke_mm)])
    assert touching.lays[0].pitch_mm == diameter
    assert touching.lays[0].verdict == "good"
    assert check_record(touching)["lays"][0]["pitch_error_mm"] == 0
