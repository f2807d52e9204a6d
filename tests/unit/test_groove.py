"""The groove of the self-reversing screw: where it runs, and what follows it."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import atan, degrees, hypot, isclose, pi, sin, tan

import pytest
from attrs import evolve
from scipy.integrate import quad

from parts.follower import Follower
from parts.groove import Groove

GROOVE = Groove(
    stroke_mm=61.25,
    turns_per_pass=Fraction(2),
    screw_diameter_mm=20,
    width_mm=4,
    depth_mm=2.5,
    reversal_deg=60,
)
FOLLOWER = Follower(
    length_mm=9,
    tip_width_mm=1.4,
    side_play_mm=0.2,
    root_play_mm=0.25,
    pin_diameter_mm=10,
    pin_hole_play_mm=0.2,
)
SEVERAL = [
    evolve(GROOVE, turns_per_pass=turns, reversal_deg=reversal)
    for turns in (Fraction(1), Fraction(3, 2), Fraction(2), Fraction(7))
    for reversal in (10, 60, 170)
    if 2 * reversal <= 360 * turns
]
every_groove = pytest.mark.parametrize("groove", SEVERAL, ids=lambda each: f"{each.turns_per_pass}-{each.reversal_deg}")


@every_groove
def test_it_runs_from_end_to_end_in_a_pass_and_back_in_the_next(groove: Groove) -> None:
    whole = 2 * groove.pass_rad
    assert groove.position_mm(0) == 0
    assert groove.position_mm(groove.pass_rad) == pytest.approx(groove.stroke_mm, rel=1e-12)
    positions = [groove.position_mm(whole * step / 1000) for step in range(1001)]
    assert min(positions) == 0
    assert max(positions) == pytest.approx(groove.stroke_mm, rel=1e-12)
    assert positions == pytest.approx(positions[::-1], abs=1e-9)
    assert all(after > before for before, after in pairwise(positions[:501]))
    # and the screw stands as it did, so the groove closes on itself
    assert (whole / (2 * pi)) == pytest.approx(round(whole / (2 * pi)))


@every_groove
def test_position_speed_and_acceleration_are_continuous_all_the_way_round(groove: Groove) -> None:
    step = 1e-5
    most = groove.full_speed_mm_per_rad * pi / (2 * groove.reversal_rad)  # the greatest acceleration, at the end
    b, end = groove.reversal_rad, groove.pass_rad
    for angle in (0, b, end / 2, end - b, end, end + b, 2 * end - b, 2 * end, 0.3 * b, end - 0.3 * b):
        assert groove.position_mm(angle + step) - groove.position_mm(angle - step) == pytest.approx(
            2 * step * groove.slope_mm_per_rad(angle), abs=most * step * step + 1e-12
        )
        before = (groove.slope_mm_per_rad(angle) - groove.slope_mm_per_rad(angle - step)) / step
        after = (groove.slope_mm_per_rad(angle + step) - groove.slope_mm_per_rad(angle)) / step
        assert before == pytest.approx(after, abs=1e-3 * most)


@every_groove
def test_the_speed_adds_up_to_the_stroke(groove: Groove) -> None:
    b, end = groove.reversal_rad, groove.pass_rad
    travelled, _ = quad(groove.slope_mm_per_rad, 0, end, points=[b, end / 2, end - b])
    assert travelled == pytest.approx(groove.stroke_mm, rel=1e-9)


def test_its_lead_and_angle_are_those_of_the_textile_question() -> None:
    # GATE 2017 Textile Engineering, Q44 and its key: traverse 160 mm in 2.5 turns of a drum of 75 mm is a pitch of
    # 64 mm and a coil angle of 74.80 deg (key 73.5 to 76.0). There the reversal takes no time, so next to none here.
    drum = Groove(
        stroke_mm=160,
        turns_per_pass=Fraction(5, 2),
        screw_diameter_mm=75,
        width_mm=4,
        depth_mm=2.5,
        reversal_deg=1e-9,
    )
    assert drum.lead_mm == pytest.approx(64, abs=1e-6)
    assert 90 - degrees(drum.lead_angle_rad) == pytest.approx(74.80, abs=0.005)


def test_the_turn_round_costs_some_lay_pitch_in_the_middle() -> None:
    assert GROOVE.pitch_excess == pytest.approx(1 / (1 - 2 * (pi / 3) * (1 - 2 / pi) / (4 * pi)))
    assert evolve(GROOVE, reversal_deg=1e-9).pitch_excess == pytest.approx(1)


@every_groove
def test_its_two_hands_cross_at_every_half_turn_and_nowhere_else(groove: Groove) -> None:
    crossings = groove.crossings_rad()
    assert len(crossings) == 2 * groove.turns_per_pass - 1
    for angle in crossings:
        assert groove.position_mm(angle) == pytest.approx(groove.position_mm(2 * groove.pass_rad - angle))
        # the same direction of the screw, met on the way out and on the way back
        assert isclose((2 * angle / (2 * pi)) % 1, 0, abs_tol=1e-9) or isclose((2 * angle / (2 * pi)) % 1, 1)
        assert abs(groove.slope_mm_per_rad(angle)) == pytest.approx(groove.full_speed_mm_per_rad)


@every_groove
def test_its_edges_lie_half_a_width_off_at_right_angles(groove: Groove) -> None:
    for step in range(40):
        angle = 2 * groove.pass_rad * step / 40
        slope = groove.slope_mm_per_rad(angle)
        for radius in (groove.root_radius_mm, groove.radius_mm):
            for edge_angle, edge_mm in groove.edges(angle, radius):
                across = (edge_angle - angle) * radius, edge_mm - groove.position_mm(angle)
                assert hypot(*across) == pytest.approx(groove.width_mm / 2)
                assert across[0] * radius + across[1] * slope == pytest.approx(0, abs=1e-9)


def test_the_tightest_radius_is_that_of_the_curve_at_the_turning_point() -> None:
    step = 1e-4
    height = GROOVE.position_mm(step)
    sagitta_radius = (GROOVE.root_radius_mm * step) ** 2 / (2 * height)
    assert GROOVE.tightest_radius_mm == pytest.approx(sagitta_radius, rel=1e-6)


def test_a_crossing_is_as_long_as_two_crossing_strips_make_it() -> None:
    # Both strips of width w along their middle lines at +a and -a, drawn flat. Where the wall of one, half a width off,
    # lies inside the other it is missing; the first and the last such place over both walls bound the crossing.
    a, w = GROOVE.lead_angle_rad, GROOVE.width_mm
    missing = []
    for side in (-w / 2, w / 2):
        for step in range(-20000, 20001):
            along = step * 1e-3
            # wall point (along, side) in the frame of this strip, and its distance from the other strip's middle line,
            # which leans by 2a
            if abs(along * sin(2 * a) - side * (1 - 2 * sin(a) ** 2)) < w / 2:
                missing.append(along)
    assert max(missing) - min(missing) == pytest.approx(GROOVE.crossing_span_mm(), abs=0.003)
    assert GROOVE.crossing_span_mm() == pytest.approx(w / tan(atan(GROOVE.lead_mm / (pi * 20))))


@pytest.mark.parametrize(
    ("changes", "key", "word"),
    [
        ({"turns_per_pass": Fraction(7, 3)}, "turns_per_pass", "half turns"),
        ({"turns_per_pass": Fraction(1, 2), "reversal_deg": 100}, "reversal_deg", "do not fit"),
        ({"turns_per_pass": Fraction(12)}, "width_mm", "land"),
        ({"reversal_deg": 10, "width_mm": 6}, "reversal_deg", "radius"),
    ],
)
def test_what_is_no_groove_is_told_with_its_key(changes: dict[str, object], key: str, word: str) -> None:
    assert GROOVE.faults() == []
    faults = evolve(GROOVE, **changes).faults()
    assert [fault.path for fault in faults] == [key]
    assert word in faults[0].message


@pytest.mark.parametrize(
    ("changes", "key", "word"),
    [
        ({"length_mm": 7.7}, "length_mm", "does not span a crossing of 7.71 mm"),
        ({"length_mm": 10, "tip_width_mm": 2.5}, "tip_width_mm", "jams"),
        ({"tip_width_mm": 3.7, "length_mm": 7.71}, "tip_width_mm", "wider"),
        ({"length_mm": 16, "tip_width_mm": 0.1, "pin_diameter_mm": 16}, "length_mm", "round the core"),
        ({"pin_diameter_mm": 8}, "pin_diameter_mm", "from above"),
    ],
)
def test_what_cannot_follow_is_told_with_its_key(changes: dict[str, object], key: str, word: str) -> None:
    assert FOLLOWER.faults(GROOVE) == []
    faults = evolve(FOLLOWER, **changes).faults(GROOVE)
    assert key in [fault.path for fault in faults]
    assert any(word in fault.message for fault in faults)


def test_the_blades_outline_is_as_long_and_as_wide_as_asked_for() -> None:
    outline = FOLLOWER.outline(GROOVE)
    along, across = zip(*outline, strict=True)
    assert max(along) - min(along) == pytest.approx(9)
    assert max(across) - min(across) == pytest.approx(4 - 2 * 0.2)
    tips = [abs(y) for x, y in outline if abs(x) > 4.499]
    assert tips == pytest.approx([0.7] * 4)
