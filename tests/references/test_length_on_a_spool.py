"""Lengths on spools and drums, against published tables, exam keys and closed forms."""

from __future__ import annotations

from fractions import Fraction
from math import asinh, atan, degrees, pi, sqrt

import mpmath
import pytest

from reelwright.winding.coil import Coil
from reelwright.winding.drive import line_speed_m_s
from reelwright.winding.fit import bending_strain, spool_volume_mm3
from reelwright.winding.gears import train_ratio, turns_per_layer
from reelwright.winding.lay import lay_pitch_mm, rise_factor

INCH_MM = 25.4
FOOT_M = 0.3048


def stacked(barrel_mm: float, strand_mm: float, turns: Fraction, rise: float = 1.0) -> Coil:
    """Circles without pitch, as the sources count."""
    return Coil((barrel_mm + strand_mm) / 2, rise * strand_mm, 0.0, turns)


def test_a_drum_of_ten_layers_holds_what_the_rope_formula_says() -> None:
    # Drum of 10 in, flange 20 in, width 12 in, 1/2 in rope: (A + B) A C K with K = pi/12/d^2 is 942.478 ft
    coil = stacked(10 * INCH_MM, 0.5 * INCH_MM, Fraction(24))
    assert coil.length_mm(240) / 1000 == pytest.approx(942.478 * FOOT_M, rel=1e-6)
    assert coil.length_mm(240) / 1000 == pytest.approx(287.267, rel=1e-5)


@pytest.mark.parametrize(
    ("rope_in", "factor"),
    [
        (3 / 8, 1.86),
        (7 / 16, 1.37),
        (1 / 2, 1.05),
        (9 / 16, 0.828),
        (5 / 8, 0.672),
        (3 / 4, 0.465),
        (7 / 8, 0.342),
        (1.0, 0.262),
        (1 + 1 / 8, 0.207),
        (1 + 1 / 4, 0.167),
        (1 + 1 / 2, 0.116),
    ],
)
def test_a_stacked_drum_agrees_with_the_rope_capacity_table(rope_in: float, factor: float) -> None:
    # Pipeline Rules of Thumb Handbook, "Capacity of drums", p. 11: M = (A + B) A C K in feet and inches, with A
    # the depth of the flange, B the drum's diameter, C its width. The table is rounded to three figures.
    layers, turns, drum_in = 8, 40, 20.0
    depth_in, width_in = layers * rope_in, turns * rope_in
    published_ft = (depth_in + drum_in) * depth_in * width_in * factor
    coil = stacked(drum_in * INCH_MM, rope_in * INCH_MM, Fraction(turns))
    assert coil.length_mm(layers * turns) / 1000 == pytest.approx(published_ft * FOOT_M, rel=0.007)


def test_a_roll_of_thin_sheet_has_the_length_of_its_annulus_and_nearly_of_its_spiral() -> None:
    # Roll of 300 on a core of 76, 0.1 mm thick: pi/4 (D^2 - d^2) / t is 661.494 m, the exact spiral 661.4938 m
    coil = Coil(38.05, 0.1, 0.0, Fraction(1))
    total_m = sum(coil.turn_length_mm(level) for level in range(1120)) / 1000
    assert total_m == pytest.approx(661.494, abs=0.0006)
    inner, outer = (2 * pi * radius / 0.1 for radius in (38, 150))
    spiral_m = 0.1 / (4 * pi) * (spiral(outer) - spiral(inner)) / 1000
    assert spiral_m == pytest.approx(661.4938, abs=0.00006)
    assert total_m == pytest.approx(spiral_m, rel=1e-6)


def spiral(angle: float) -> float:
    """Twice the arc length of r = theta from 0 to this angle, as calculus textbooks have it."""
    return angle * sqrt(1 + angle * angle) + asinh(angle)


def test_the_layer_sum_of_a_spiral_comes_near_its_arc_length() -> None:
    # Calculus textbooks: r = theta over 0..2 pi has arc length pi sqrt(4 pi^2 + 1) + asinh(2 pi)/2 = 21.2562941.
    # The sum over rings leaves out the radial part of the arc, so it lies below by less than that part.
    exact = pi * sqrt(4 * pi * pi + 1) + asinh(2 * pi) / 2
    assert exact == pytest.approx(21.2562941, abs=5e-8)
    rings = Coil(2 * pi * 0.5 / 900, 2 * pi / 900, 0.0, Fraction(1))
    swept = sum(rings.turn_length_mm(level) for level in range(900)) / 900
    assert swept == pytest.approx(2 * pi * pi, rel=1e-9)  # the integral of r d theta
    assert swept < exact < swept + 2 * pi


def test_rope_on_a_small_drum_by_volume() -> None:
    # 20 m of 6 mm rope, each turn in its square, on a 50 mm drum 60 mm wide: outer diameter 133.3374 mm
    assert spool_volume_mm3(133.3374, 50, 60) == pytest.approx(20_000 * 6 * 6, rel=1e-6)


def test_a_helix_is_longer_than_its_circles() -> None:
    # sqrt((2 pi R)^2 + p^2): R = 1 m, pitch 2 m, ten turns are 65.93817 m
    assert Coil(1000, 1, 2000, Fraction(10)).length_mm(10) / 1000 == pytest.approx(65.93817, abs=5e-6)
    wound, circles = Coil(40, 1, 1.75, Fraction(10)), Coil(40, 1, 0, Fraction(10))
    assert wound.length_mm(5) / circles.length_mm(5) - 1 == pytest.approx(24.24e-6, rel=1e-3)


def test_ten_layers_of_strand_stacked_and_nested() -> None:
    # 60 mm wide, barrel 80, strand 1.75: closed form and sum agree on 105.019 m stacked, 102.746 m nested
    turns = Fraction(6000, 175)
    assert stacked(80, 1.75, turns).length_mm(float(10 * turns)) / 1000 == pytest.approx(105.019, abs=0.0006)
    nested = rise_factor("nested", 1.75, 1.75)
    assert stacked(80, 1.75, turns, nested).length_mm(float(10 * turns)) / 1000 == pytest.approx(102.746, abs=0.0006)


def test_a_winding_drum_of_an_engineering_examination() -> None:
    # GATE 2017 Textile Engineering, Q44 and its key: traverse 160 mm, drum 75 mm, 2.5 turns a stroke, 3250 rpm:
    # pitch 64 mm, traverse 208 m/min, surface 765.76 m/min, coil angle 74.80 degrees (key 73.5 to 76.0)
    pitch = lay_pitch_mm(160, 2.5)
    surface = 60 * line_speed_m_s(3250, pi * 75)
    traverse = 60 * line_speed_m_s(3250, pitch)
    assert pitch == 64
    assert traverse == pytest.approx(208)
    assert surface == pytest.approx(765.76, abs=0.01)
    assert degrees(atan(surface / traverse)) == pytest.approx(74.80, abs=0.005)


def test_two_screw_turns_a_pass_on_17_4_to_1_are_34_8_turns_a_layer() -> None:
    # common practice of home-built winders; exact as a fraction
    assert turns_per_layer([(10, 58), (10, 30)], Fraction(2)) == Fraction(174, 5)


def test_the_ratio_of_a_compound_train_is_the_product_of_its_stages() -> None:
    # gear handbooks: two stages of 4 make 16
    assert train_ratio([(15, 60), (12, 48)]) == 16


def test_nested_strand_packs_as_tightly_as_circles_can() -> None:
    # Geometry; literature on orthocyclic winding: hexagonal packing fills pi/sqrt(12) = 0.9068997, square pi/4
    assert rise_factor("nested", 1.75, 1.75) == pytest.approx(0.8660254, abs=5e-8)
    assert pi / 4 / rise_factor("nested", 1, 1) == pytest.approx(0.9068997, abs=5e-8)
    assert pi / 4 / rise_factor("stacked", 1, 1) == pi / 4


@pytest.mark.parametrize("model", ["nested", "crossing", "stacked"])
@pytest.mark.parametrize("pitch", [0.05, 0.4, 0.8, 0.99, 1.0, 1.01, 1.3, 1.7])
def test_no_lay_packs_tighter_than_circles_can(model: str, pitch: float) -> None:
    # Geometry: no packing of equal circles is denser than pi/sqrt(12). A turn has a cell of a pitch by a rise
    assert pi / 4 / (pitch * rise_factor(model, pitch, 1.0)) <= pi / sqrt(12) * (1 + 1e-12)


@pytest.mark.parametrize("model", ["nested", "crossing", "stacked"])
def test_turns_too_close_for_one_layer_take_the_height_of_their_volume(model: str) -> None:
    # annulus identity: twice the turns on the same width are twice the volume, and rise twice as high as packed alike
    assert rise_factor(model, 0.5, 1.0) == pytest.approx(2 * rise_factor(model, 1.0, 1.0), rel=1e-12)
    assert rise_factor(model, 1 - 1e-9, 1.0) == pytest.approx(rise_factor(model, 1 + 1e-9, 1.0), rel=1e-8)


@pytest.mark.parametrize(("model", "widest"), [("nested", sqrt(3)), ("crossing", 2.0)])
def test_strand_that_sinks_through_the_layer_below_has_no_rise(model: str, widest: float) -> None:
    # geometry: nested at a pitch of sqrt(3) d each layer is half a diameter above the one below, two are a whole one
    assert rise_factor(model, widest, 1.0) == pytest.approx(0.5 if model == "nested" else pi / 4, rel=1e-9)
    with pytest.raises(ValueError, match="sinks through"):
        rise_factor(model, widest * 1.001, 1.0)
    assert rise_factor("stacked", 3.0, 1.0) == 1.0


@pytest.mark.parametrize("pitch", [1.0, 1.2, 1.5, 1.9])
def test_the_crossing_factor_is_the_mean_over_the_sweep_by_quadrature(pitch: float) -> None:
    # PyPI `mpmath`, numerical quadrature of the same mean
    mean = mpmath.quad(lambda u: mpmath.sqrt(1 - u * u), [0, pitch / 2]) / (pitch / 2)
    assert rise_factor("crossing", pitch, 1.0) == pytest.approx(float(mean), rel=1e-14)


def test_the_crossing_factor_at_touching_turns() -> None:
    assert rise_factor("crossing", 1.75, 1.75) == pytest.approx(0.9566115, abs=5e-8)  # by quadrature


def test_bending_strain_of_strand_on_its_barrel() -> None:
    # beam theory, from memory: d / (barrel + d), 1.75 on 80 is 2.141 %
    assert bending_strain(1.75, 80) == pytest.approx(0.02141, abs=5e-6)
