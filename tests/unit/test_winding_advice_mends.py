"""What the plan says to mend: each way with its value, and each mends what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from advice_cases import (
    FAR_BEYOND,
    FROM,
    TOUCHING_MM,
    WHOLE,
    D,
    N,
    drawn,
    finding_of,
    lying,
    mended,
    ways_out,
)
from reelwright.winding.findings import Change, remedy_text
from reelwright.winding.rounding import rounded_down, rounded_up
from winding_jobs import plan_of

if TYPE_CHECKING:
    from reelwright.winding.findings import Mend


@pytest.mark.parametrize("code", [code for code in FAR_BEYOND if code not in FROM])
def test_each_mend_alone_takes_its_finding_away(code: str) -> None:
    finding = finding_of(code, FAR_BEYOND[code])
    assert finding is not None
    assert finding.mends
    for mend in finding.mends:
        assert finding_of(code, mended(FAR_BEYOND[code], mend)) is None, mend


# The ways out of each FAR_BEYOND, reckoned by hand to four digits and to the safe side.
MENDS_BY_HAND: dict[str, list[dict[str, str]]] = {
    # three layers are one too many; or a flange as wide as they are, or that and a diameter on each side
    "over_flange": [{"target.layers": "at most 2"}, {"take_up.flange_diameter_mm": "at least 90.2"}],
    "near_flange": [{"target.layers": "at most 2"}, {"take_up.flange_diameter_mm": "at least 93.7"}],
    # turns touch where turns x 1.75 mm are the stroke: 42.63 mm are 24.36 turns, and 34.8 turns are 60.9 mm
    "pitch_tight": [
        {"machine.turns_per_layer": "at most 24.36"},
        {"take_up.inside_width_mm": "62.65", "machine.stroke_mm": "60.9"},
        {"strand.diameter_mm": "at most 1.225"},
    ],
    "pitch_wide": [
        {"machine.turns_per_layer": "56.55"},
        {"take_up.inside_width_mm": "62.65", "machine.stroke_mm": "60.9"},
        {"strand.diameter_mm": "at least 2.275"},
    ],
    # 0.3 mm too little at each end, and 1.3 diameters of gap
    "against_flange": [
        {"machine.stroke_mm": "60.3", "machine.turns_per_layer": "34.45"},
        {"take_up.inside_width_mm": "at least 62.65"},
    ],
    "end_gap": [{"machine.stroke_mm": "65.45"}, {"take_up.inside_width_mm": "at most 66.15"}],
    "flange_heap": [{"machine.dwell_turns": "at most 2"}],
    "tight_bend": [{"take_up.barrel_diameter_mm": "at least 56.59"}],  # 1.75 / 0.03 - 1.75
    # 61.25 / 2 / tan of 1.5, 2 and 0.5 degrees
    "fleet_angle": [{"machine.guide_distance_mm": "at least 1170"}],
    "fleet_angle_grooved": [{"machine.guide_distance_mm": "at least 877"}],
    "fleet_angle_small": [{"machine.guide_distance_mm": "at most 3509"}],
    # two turns a second of sqrt((81.75 pi)^2 + 1.76^2) mm, or 1.3 times 120 rpm
    "line_speed_beyond": [{"machine.line_speed_m_s": "at most 0.5136"}, {"machine.max_spool_rpm": "at least 156"}],
    # 1.3 times 20; or a brake that leaves what the start takes: 0.102 N m, 0.095 of them of 2 N
    "motor_torque": [
        {"machine.motor_turns_per_spool_turn": "at least 26"},
        {"machine.back_tension_n": "at most 1.504"},
    ],
    "gear_torque": [{"machine.back_tension_n": "at most 1.504"}],
    "too_few_pulses": [{"machine.pulses_per_turn": "at least 2"}],
    "overfull_layers": [{"lay.rise": "crossing"}],
    "crossed_layers": [{"lay.rise": "crossing"}],
}


@pytest.mark.parametrize("code", [code for code in FAR_BEYOND if code not in FROM])
def test_every_way_out_is_offered_with_its_value(code: str) -> None:
    finding = finding_of(code, FAR_BEYOND[code])
    assert finding is not None

    def told(change: Change) -> str:
        value = change.value if isinstance(change.value, str) else f"{change.value:g}"
        return f"{change.bound} {value}".strip()

    assert [{change.key: told(change) for change in mend} for mend in finding.mends] == MENDS_BY_HAND[code]


def test_a_stroke_is_changed_alone_where_the_spool_has_the_width_for_it() -> None:
    def second(code: str, turns: float, stroke_mm: float, width_mm: float) -> dict[str, object]:
        machine = {"turns_per_layer": turns, "stroke_mm": stroke_mm}
        return ways_out(code, {"machine": machine, "take_up": {"inside_width_mm": width_mm}})[1]

    # 34.8 turns touch on 60.9 mm, and take 62.65 mm with the strand; 8 turns on 14 mm, within a diameter of 19.25 mm
    for width_mm in (62.7, 90):
        assert second("pitch_tight", 34.8, 55, width_mm) == {"machine.stroke_mm": 60.9}
    assert second("pitch_tight", 34.8, 55, 62.6) == {"take_up.inside_width_mm": 62.65, "machine.stroke_mm": 60.9}
    assert second("pitch_wide", 8, 18, 19.2) == {"machine.stroke_mm": 14}
    assert second("pitch_wide", 8, 18, 19.3) == {"take_up.inside_width_mm": 15.75, "machine.stroke_mm": 14}


def test_a_stroke_alone_may_be_longer_for_a_tight_pitch_and_is_just_one_for_a_wide_pitch() -> None:
    def second(code: str, turns: float, stroke_mm: float, width_mm: float) -> Mend:
        machine = {"turns_per_layer": turns, "stroke_mm": stroke_mm}
        finding = finding_of(code, {"machine": machine, "take_up": {"inside_width_mm": width_mm}})
        assert finding is not None
        return finding.mends[1]

    assert second("pitch_tight", 34.8, 55, 90) == (Change("machine.stroke_mm", "at least", 60.9),)
    assert second("pitch_wide", 8, 18, 19.2) == (Change("machine.stroke_mm", "", 14),)


def test_a_rise_that_no_strand_has_is_mended_also_where_the_pitch_is_too_wide_for_crossing_layers() -> None:
    sparse = {"machine": {"turns_per_layer": 10}, "lay": {"rise": 0.01}}
    assert ways_out("overfull_layers", sparse) == [{"lay.rise": "stacked"}]


def test_a_spool_no_wider_than_its_strand_has_no_stroke_that_would_do() -> None:
    for width_mm in (1.5, D):
        narrow = {"machine": {"stroke_mm": 1, "turns_per_layer": "4/7"}, "take_up": {"inside_width_mm": width_mm}}
        assert ways_out("against_flange", narrow) == [{"take_up.inside_width_mm": 2.75}]


def test_a_spool_whose_width_is_its_stroke_is_changed_alone() -> None:
    assert ways_out("pitch_tight", {"machine": {"turns_per_layer": 36}})[1].keys() == {"take_up.inside_width_mm"}


def test_a_wider_barrel_needs_a_wider_flange_where_the_layers_would_stand_above_it() -> None:
    roomy = {"take_up": {"barrel_diameter_mm": 50, "flange_diameter_mm": 200}, "target": WHOLE}
    assert ways_out("tight_bend", roomy) == [{"take_up.barrel_diameter_mm": 56.59}]
    layers_mm = plan_of(**roomy).fit.outer_diameter_mm - 50
    full = roomy | {"take_up": {"barrel_diameter_mm": 50, "flange_diameter_mm": 61}}
    (both,) = ways_out("tight_bend", full)
    assert both["take_up.flange_diameter_mm"] == rounded_up(56.59 + layers_mm)
    bent_on_both = finding_of("tight_bend", full)
    assert bent_on_both is not None
    assert {change.bound for change in bent_on_both.mends[0]} == {"at least"}


def test_less_torque_is_a_gentler_start_or_a_looser_brake_by_what_the_other_leaves() -> None:
    # torque is in proportion to acceleration (60 rpm/s) and to tension (2 N), each by its own part
    heavy = {"empty_mass_g": 5000}
    load = plan_of(take_up=heavy).load
    holding = load.spool_torque_n_m
    gaining = load.starting_torque_n_m - holding
    assert 0.09 < holding < 0.15 < gaining

    def ways(gear_torque_n_m: float) -> list[dict[str, object]]:
        return ways_out("gear_torque", {"take_up": heavy, "machine": {"gear_torque_n_m": gear_torque_n_m}})

    start, brake = "machine.acceleration_rpm_s", "machine.back_tension_n"
    assert ways(0.15) == [{start: rounded_down((0.15 - holding) / gaining * 60)}]
    assert ways(0.2) == [
        {start: rounded_down((0.2 - holding) / gaining * 60)},
        {brake: rounded_down((0.2 - gaining) / holding * 2)},
    ]
    assert ways(0.05) == [{start: rounded_down(0.025 / gaining * 60), brake: rounded_down(0.025 / holding * 2)}]
    tight = finding_of("gear_torque", {"take_up": heavy, "machine": {"gear_torque_n_m": 0.05}})
    assert tight is not None
    assert {change.bound for change in tight.mends[0]} == {"at most"}


@pytest.mark.parametrize("machine", [{"drive": "hand"}, {"back_tension_n": 0}], ids=str)
def test_where_all_torque_is_of_one_part_only_that_one_can_be_less(machine: dict[str, Any]) -> None:
    keys = {"hand": "machine.back_tension_n", "dc": "machine.acceleration_rpm_s"}
    (way,) = ways_out("gear_torque", {"machine": machine | {"gear_torque_n_m": 0.0005}})
    assert way.keys() == {keys[machine.get("drive", "dc")]}


def test_a_motor_that_cannot_turn_so_fast_is_not_asked_to() -> None:
    def keys(no_load_rpm: float) -> set[str]:
        changes = drawn(1.3)
        changes["machine"]["no_load_rpm"] = no_load_rpm
        return {key for mend in ways_out("line_speed_beyond", changes) for key in mend}

    assert keys(157) == {"machine.line_speed_m_s", "machine.max_spool_rpm"}
    assert keys(150) == {"machine.line_speed_m_s"}


def test_a_sensor_behind_gears_needs_pulses_for_its_own_turns() -> None:
    # a shaft of a third of a turn for each of the spool's, and one turn of that to the target
    geared = {"sensor_shaft": "crank", "shaft_turns_per_spool_turn": "1/3", "pulses_per_turn": 1}
    finding = finding_of("too_few_pulses", {"machine": geared, "target": {"turns": 1}})
    assert finding is not None
    assert finding.mends == (
        (Change("machine.pulses_per_turn", "at least", 3),),
        (Change("target.turns", "at least", 3),),
    )


def test_a_length_short_of_a_pulse_is_to_be_that_of_one_unless_a_layer_is_short_of_it_too() -> None:
    finding = finding_of("too_few_pulses", {"target": {"length_m": 0.001}})
    assert finding is not None
    # a sixtieth of a turn of sqrt((81.75 pi)^2 + 1.76^2) mm
    assert finding.mends[-1] == (Change("target.length_m", "at least", 0.004281),)
    coarse = {"turns_per_layer": "1/2", "stroke_mm": 1, "pulses_per_turn": 1}
    for target in ({"turns": "1/4"}, {"length_m": 0.01}):
        keys = {key for mend in ways_out("too_few_pulses", {"machine": coarse, "target": target}) for key in mend}
        assert keys == {"machine.pulses_per_turn"}


@pytest.mark.parametrize("code", ["pitch_tight", "pitch_wide"])
def test_the_mend_of_a_pitch_is_the_gearing_at_which_turns_just_touch(code: str) -> None:
    changes = FAR_BEYOND[code]
    finding = finding_of(code, changes)
    assert finding is not None
    assert plan_of(**mended(changes, finding.mends[0])).coil.pitch_mm == pytest.approx(D, rel=1e-3)


def test_the_largest_strand_that_the_machine_lays_is_the_one_whose_turns_touch() -> None:
    free, given = plan_of().fit.largest_strand_mm, plan_of(machine={"stroke_mm": 61}).fit.largest_strand_mm
    assert free == pytest.approx(63 / (N + 1))
    assert given == pytest.approx(61 / N)
    laid = plan_of(strand={"diameter_mm": free})
    assert laid.coil.pitch_mm == pytest.approx(free, rel=1e-12)


@pytest.mark.parametrize("turns", [36, 26])
def test_oval_strand_goes_by_the_mean_of_its_diameters_and_is_mended_in_both(turns: int) -> None:
    oval = {"strand": {"diameter_mm": 1.7, "second_diameter_mm": 1.8}, "machine": {"turns_per_layer": turns}}
    plan = plan_of(**oval)
    assert plan.findings[0].limit == pytest.approx(1.75 if turns == 36 else 1.25 * 1.75)
    last = plan.findings[0].mends[-1]
    assert [change.key for change in last] == ["strand.diameter_mm", "strand.second_diameter_mm"]
    assert finding_of(plan.findings[0].code, mended(oval, last)) is None


def test_a_stroke_that_its_gears_lay_badly_is_mended_with_its_gears() -> None:
    finding = finding_of("end_gap", lying(TOUCHING_MM * 0.7, 10, turns_per_layer=N * 0.7))
    assert finding is not None
    both = next(mend for mend in finding.mends if len(mend) == 2)
    assert [change.key for change in both] == ["machine.stroke_mm", "machine.turns_per_layer"]
    changes = mended(lying(TOUCHING_MM * 0.7, 10, turns_per_layer=N * 0.7), both)
    assert plan_of(**changes).findings == ()


def test_a_sensor_on_the_motor_is_geared_along_with_it() -> None:
    machine = {"motor_torque_n_m": 0.001, "sensor_shaft": "motor", "shaft_turns_per_spool_turn": 10}
    finding = finding_of("motor_torque", {"machine": machine})
    assert finding is not None
    assert [change.key for change in finding.mends[0]] == ["machine.shaft_turns_per_spool_turn"]
    assert finding_of("motor_torque", mended({"machine": machine}, finding.mends[0])) is None


@pytest.mark.parametrize(
    ("sensor", "keys"),
    [
        ({"sensor_shaft": "spool"}, ["machine.motor_turns_per_spool_turn"]),
        ({"motor_turns_per_spool_turn": 10}, ["machine.motor_turns_per_spool_turn"]),
        (
            {"sensor_shaft": "motor", "shaft_turns_per_spool_turn": 10, "motor_turns_per_spool_turn": 10},
            ["machine.motor_turns_per_spool_turn", "machine.shaft_turns_per_spool_turn"],
        ),
    ],
    ids=str,
)
def test_a_motors_gearing_is_changed_wherever_the_job_says_it(sensor: dict[str, Any], keys: list[str]) -> None:
    finding = finding_of("motor_torque", {"machine": sensor | {"motor_torque_n_m": 0.001}})
    assert finding is not None
    assert [change.key for change in finding.mends[0]] == keys


def test_changes_of_one_spool_are_told_in_one_breath() -> None:
    spool = (
        Change("take_up.barrel_diameter_mm", "at least", 56.6),
        Change("take_up.flange_diameter_mm", "at least", 94.0),
    )
    text = remedy_text([spool, (Change("lay.rise", "", "crossing"),)])
    assert text == (
        "Take a spool with a barrel of at least 56.6 mm and a flange of at least 94 mm, or "
        "set the rise to crossing, or to a measured factor."
    )
    assert remedy_text([]) == ""


@pytest.mark.parametrize("value", [0.00123456, 1.0, 61.25, 9999.5, 34.8, 123456.0])
def test_values_to_change_to_are_rounded_to_the_safe_side(value: float) -> None:
    assert value * (1 - 1e-3) < rounded_down(value) <= value <= rounded_up(value) < value * (1 + 1e-3)
    assert (rounded_down(61.25), rounded_up(61.25)) == (61.25, 61.25)


def test_a_value_just_beyond_its_limit_does_not_read_like_the_limit() -> None:
    tight = finding_of("pitch_tight", {"machine": {"stroke_mm": 34.8 * 1.74996}})
    assert tight is not None
    assert "lay pitch is 1.749 mm and should be at least 1.75 mm" in tight.fact
    wide = finding_of(
        "pitch_wide", {"machine": {"stroke_mm": 34.8 * 1.25 * 1.75002}, "take_up": {"inside_width_mm": 80}}
    )
    assert wide is not None
    assert "lay pitch is 2.188 mm and should be at most 2.187 mm" in wide.fact


def test_a_target_short_of_a_pulse_is_told_how_much_to_wind_and_no_sensor_that_nobody_has() -> None:
    tiny = {"target": {"length_m": 1e-6}}
    finding = finding_of("too_few_pulses", tiny)
    assert finding is not None
    assert "is 0 pulses and must be at least 1 pulse " in finding.fact
    assert [change.key for mend in finding.mends for change in mend] == ["target.length_m"]
    for changes in (tiny, {"target": {"length_m": 0.001}}, {"target": {"turns": "1/500"}}):
        finding = finding_of("too_few_pulses", changes)
        assert finding is not None
        assert finding.remedy
        for mend in finding.mends:
            fresh = {"target": {}} if mend[0].key.startswith("target.") else changes
            assert finding_of("too_few_pulses", mended(fresh, mend)) is None


def test_with_a_mass_so_small_the_words_say_to_wind_more() -> None:
    finding = finding_of("too_few_pulses", {"target": {"mass_g": 1e-6}})
    assert finding is not None
    assert (finding.mends, finding.remedy) == ((), "Wind more.")
