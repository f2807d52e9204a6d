"""Tension, torque, traverse and fleet angle, against textbooks, handbooks and a count."""

from __future__ import annotations

from fractions import Fraction
from math import atan, degrees, floor, pi, sqrt, tau

import mpmath
import pytest

from plant.spools import wound_inertia_kg_m2
from reelwright.winding.coil import Coil
from reelwright.winding.drive import guided_tension_n, ring_inertia_kg_m2, stopping_turns
from reelwright.winding.findings import LIMITS, ROPE_MANUAL
from reelwright.winding.fit import crossings, fleet_angle_deg, guide_distance_mm, spool_volume_mm3
from reelwright.winding.pulses import PulseScale
from reelwright.winding.source import PACKING, PACKING_U


def test_a_rope_round_a_bollard_holds_what_the_exercise_says() -> None:
    # textbook exercise on the capstan equation: 100 kg at g = 9.81 m/s^2, mu = 0.2, 1.5 pi of wrap need 382.26 N
    assert 100 * 9.81 / guided_tension_n(1, 0.2, 270) == pytest.approx(382.26, abs=0.005)
    assert guided_tension_n(382.26, 0.2, 270) == pytest.approx(981, abs=0.02)


def test_turns_to_stop_from_120_rpm() -> None:
    # kinematics, v^2 / 2a: 2 rev/s at 2 rev/s^2 is one turn
    assert stopping_turns(120, 120) == pytest.approx(1.0, rel=1e-15)


def test_the_inertia_of_a_ring_is_its_integral_and_that_of_the_simulated_spool() -> None:
    # textbooks of mechanics: m (R^2 + r^2) / 2; here by quadrature of r^2 dm with PyPI `mpmath`
    mass_g, inner, outer = 250, 40, 52
    surface = pi * (outer**2 - inner**2)
    integral = mpmath.quad(lambda r: r**2 * mass_g / surface * tau * r, [inner, outer])
    assert ring_inertia_kg_m2(mass_g, inner, outer) == pytest.approx(float(integral) * 1e-9, rel=1e-12)
    assert ring_inertia_kg_m2(mass_g, inner, outer) == pytest.approx(wound_inertia_kg_m2(1000, 0.25, inner, outer))


def test_edges_of_a_fast_shaft_counted_fourfold() -> None:
    # rpm/60 x ppr: 2000 rpm x 360 are 12 kHz, 48,000 edges a second where both channels' edges all count
    assert PulseScale(Fraction(4 * 360)).pulses(Fraction(2000, 60)) == 48_000


def test_the_fleet_angle_limits_are_those_of_the_wire_rope_manual() -> None:
    # Wire Rope Users Manual, fig. 39: at least 0.5 degrees, at most 1.5 onto a smooth and 2 onto a grooved drum
    told = {
        "fleet_angle_small": ("at least", 0.5),
        "fleet_angle": ("at most", 1.5),
        "fleet_angle_grooved": ("at most", 2),
    }
    for code, limit in told.items():
        row = LIMITS[code]
        assert (row.bound, row.factor, row.unit, row.source) == (*limit, "deg", ROPE_MANUAL)


@pytest.mark.parametrize(("angle_deg", "times"), [(0.5, 57.29), (1.5, 19.09), (2.0, 14.32)])
def test_the_distance_for_a_fleet_angle_in_drum_widths(angle_deg: float, times: float) -> None:
    # trigonometry: 1 / (2 tan). Common practice, from memory: 19 feet for each foot of drum at 1.5 degrees.
    assert guide_distance_mm(60, angle_deg) == pytest.approx(60 * times, rel=3e-4)
    assert fleet_angle_deg(60, 60 * times) == pytest.approx(angle_deg, rel=3e-4)


def counted_crossings(pitch: float, turns: float, steps_a_turn: int = 720) -> int:
    """Follow a strand that goes to the right over a layer laid to the left, and count the turns it passes over.

    The lower strand stands at -p a + k p for every whole k at angle a (in turns), the upper one at p a.
    """
    passed = 0
    # a start between two lower turns, so that no count falls on the edge
    before = floor(0.25)
    for step in range(1, round(turns * steps_a_turn) + 1):
        angle = step / steps_a_turn
        now = floor((pitch * angle - -pitch * angle) / pitch + 0.25)
        passed += now - before
        before = now
    return passed


def test_alternating_layers_cross_twice_a_turn_from_layer_two_on() -> None:
    # wire-rope handbook practice on multi-layer drums; counted here on two helices of opposite hand
    coil = Coil(40, 1.6, 1.75, Fraction(35))
    assert counted_crossings(1.75, 35) == 70
    assert crossings(coil, 35) == 0
    assert crossings(coil, 70) == pytest.approx(70)
    assert crossings(coil, 105) - crossings(coil, 70) == pytest.approx(counted_crossings(1.75, 35))


def test_the_cable_trades_allowance_lies_within_the_packing_of_an_unknown_spool() -> None:
    # NEMA reel capacity method, second hand: traverse x 0.95 for nesting and unevenness. Square packing on
    # 0.95 of the traverse is the looser end of the packing taken for a spool known by its wound diameter.
    barrel, strand, layers, traverse = 60.0, 2.0, 12, 80.0
    turns = Fraction(95, 100) * Fraction(traverse) / Fraction(strand)
    coil = Coil((barrel + strand) / 2, strand, 0.0, turns)
    space = spool_volume_mm3(barrel + 2 * layers * strand, barrel, traverse)
    packing = pi / 4 * strand**2 * coil.length_mm(float(layers * turns)) / space
    assert packing == pytest.approx(0.95 * pi / 4, rel=1e-12)
    assert packing == pytest.approx(PACKING - sqrt(3) * PACKING_U, rel=1e-12)


def test_hexagonal_packing_is_the_tighter_end() -> None:
    # geometry; literature on orthocyclic winding: pi/sqrt(12) = 0.9068997
    assert PACKING + sqrt(3) * PACKING_U == pytest.approx(0.9068997, abs=5e-8)


def test_the_coil_angle_of_an_engineering_examination_and_its_fleet_angle_agree() -> None:
    # GATE 2017 Textile Engineering, Q44: traverse 208 m/min beside surface 765.76 m/min, coil angle 74.80 degrees.
    # The strand's slant from the circle is the rest to 90 degrees, as a fleet angle with these two as sides.
    assert 90 - fleet_angle_deg(2 * 208, 765.76) == pytest.approx(74.80, abs=0.005)
    assert degrees(atan(208 / 765.76)) == pytest.approx(fleet_angle_deg(416, 765.76), rel=1e-15)
