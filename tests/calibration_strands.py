"""Strands and winds for tests of the calibration: what is true of them, and what exact instruments would read."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from reelwright.winding.calibration_figures import StrandFigures
from reelwright.winding.calibration_winds import LayerDiameter, MeasuredWind
from reelwright.winding.coil import Coil
from reelwright.winding.mass import strand_mass_g

LAYER_TURNS = Fraction(174, 5)
PITCH_MM = 1.76
TARE_G = 200.0
LABEL = StrandFigures(1.75, 0.02, 0.0, 0.957, 0.03, 1.24, 0.012)


def lay(barrel_mm: float, diameter_mm: float, rise: float) -> Coil:
    """A coil of the tests' winder."""
    return Coil((barrel_mm + diameter_mm) / 2, rise * diameter_mm, PITCH_MM, LAYER_TURNS)


def outer_mm(truth: StrandFigures, layer: int, barrel_mm: float = 80.0) -> float:
    """The diameter over a layer, from the geometry's words: a strand on each side, and the rises between."""
    assert truth.rise is not None
    first = barrel_mm + truth.diameter_mm + truth.diameter_mm
    for _ in range(1, layer):
        first += 2 * truth.rise * truth.diameter_mm
    return first


def exact_wind(truth: StrandFigures, wound: float = 661.0, barrel_mm: float = 80.0, **changes: Any) -> MeasuredWind:
    """So many turns of this strand, weighed, taped and calipered without an error; `changes` lie over that."""
    assert truth.rise is not None
    assert truth.density_g_cm3 is not None
    length_mm = lay(barrel_mm, truth.diameter_mm, truth.rise).length_mm(wound)
    last = int(wound / LAYER_TURNS)
    net_g = strand_mass_g(length_mm, truth.density_g_cm3, *truth.diameters_mm())
    measured: dict[str, Any] = {
        "barrel_mm": barrel_mm,
        "lay": lay,
        "turns": wound,
        "turns_u": 0.01,
        "pitch_mm": PITCH_MM,
        "gross_mass_g": TARE_G + net_g,
        "empty_mass_g": TARE_G,
        "length_m": length_mm / 1000,
        "layers": tuple(
            LayerDiameter(layer, outer_mm(truth, layer, barrel_mm)) for layer in sorted({1, 1 + last // 2, last})
        ),
    }
    return MeasuredWind(**(measured | changes))
