"""How strand lies on strand: lay pitch, and how much each layer raises the next."""

from __future__ import annotations

from math import asin, sqrt

CROSSING = "crossing"
NESTED = "nested"
STACKED = "stacked"
RISE_MODELS = (CROSSING, NESTED, STACKED)

# Standard uncertainty of a modelled rise factor. The factor lies between the hexagonal packing (0.866) and
# the square one (1), more likely near the model (0.957) than at either end: a triangle over these three has
# sqrt((a^2 + b^2 + c^2 - ab - ac - bc) / 18) = 0.028 (reading of JCGM 100, 4.3.9).
MODEL_RISE_U = 0.028
# Standard uncertainty of a measured one: 0.3 mm on the diameter over ten layers of 1.75 mm is 0.3 / 35.
MEASURED_RISE_U = 0.01


def lay_pitch_mm(stroke_mm: float, turns_per_layer: float) -> float:
    """Axial advance of the guide in one turn of the spool."""
    return stroke_mm / turns_per_layer


def rise_factor(model: str | float, pitch_mm: float, diameter_mm: float) -> float:
    """Radial growth per layer, in strand diameters.

    model: a number is a measured factor and is handed back. "stacked": strand on top of strand, 1.
    "nested": strand in the groove below, sqrt(1 - (p/2d)^2). "crossing": successive layers lie at opposite
    hand, so the sideways offset u from the groove's edge to its bottom sweeps 0 to p/2 evenly; the mean of
    sqrt(1 - (u/d)^2) over that sweep in closed form, with q = p/2d: (sqrt(1 - q^2) + asin(q)/q) / 2.

    Raises ValueError where a model has no answer: at a pitch of two diameters or more the strand falls
    through to the layer below.
    """
    if not isinstance(model, str):
        return float(model)
    if model == STACKED:
        return 1.0
    half = pitch_mm / (2 * diameter_mm)
    if half >= 1:
        raise ValueError(f"strand of {diameter_mm:g} mm falls between its own turns at a pitch of {pitch_mm:.3g} mm")
    if model == NESTED:
        return sqrt(1 - half * half)
    if model == CROSSING:
        return (sqrt(1 - half * half) + asin(half) / half) / 2
    raise ValueError(f"no rise model is called {model!r}")


def default_rise_u(model: str | float) -> float:
    """Standard uncertainty of the rise factor where the job gives none."""
    return MODEL_RISE_U if isinstance(model, str) else MEASURED_RISE_U
