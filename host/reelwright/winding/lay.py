"""How strand lies on strand: lay pitch, and how much each layer raises the next."""

from __future__ import annotations

from math import asin, inf, sqrt

CROSSING = "crossing"
NESTED = "nested"
STACKED = "stacked"
RISE_MODELS = (CROSSING, NESTED, STACKED)

# Standard uncertainty of a measured rise factor: 0.3 mm on the diameter over ten layers of 1.75 mm is 0.3 / 35.
MEASURED_RISE_U = 0.01

# The widest pitch, in diameters, at which a model has an answer. Where each turn lies in the groove between two below,
# layer k + 2 lies right above layer k, two rises up: at sqrt(3) those are one diameter, and strand that sank deeper
# would be inside the layer under the one below. Crossing strand sinks so deep in a few places only, and falls through
# where the turns below leave a whole diameter free.
_WIDEST = {STACKED: inf, NESTED: sqrt(3), CROSSING: 2.0}


def lay_pitch_mm(stroke_mm: float, travel_turns: float) -> float:
    """Axial advance of the guide in one turn of the spool.

    travel_turns: turns of a pass in which the guide travels, those of its dwell left out.
    """
    return stroke_mm / travel_turns


def rise_factor(model: str | float, pitch_mm: float, diameter_mm: float) -> float:
    """Radial growth per layer, in strand diameters.

    model: a number is a measured factor and is handed back. "stacked": strand on top of strand, 1.
    "nested": strand in the groove below, sqrt(1 - (p/2d)^2). "crossing": successive layers lie at opposite
    hand, so the sideways offset u from the groove's edge to its bottom sweeps 0 to p/2 evenly; the mean of
    sqrt(1 - (u/d)^2) over that sweep in closed form, with q = p/2d: (sqrt(1 - q^2) + asin(q)/q) / 2.

    At a pitch below one diameter the turns do not fit side by side, and some climb. A pass then holds d/p times the
    strand of a flat layer on the same width, and since strand packs no tighter than side by side, it rises
    d/p times as much as at p = d: the groove's formula would pack it beyond pi/sqrt(12), which no circles can. This
    is a mean over layers that are no longer flat; the first one, counted as flat, then lies up to
    (d/p - 1) f d / 2 higher than reckoned.

    Raises ValueError where a model has no answer: "nested" beyond a pitch of sqrt(3) diameters, "crossing" beyond two.
    """
    if not isinstance(model, str):
        return float(model)
    if model not in RISE_MODELS:
        raise ValueError(f"no rise model is called {model!r}")
    pitch = pitch_mm / diameter_mm
    if not has_rise(model, pitch_mm, diameter_mm):
        raise ValueError(f"at a pitch of {pitch_mm:.3g} mm strand of {diameter_mm:g} mm sinks through the layer below")
    return _flat_factor(model, max(pitch, 1.0)) / min(pitch, 1.0)


def has_rise(model: str, pitch_mm: float, diameter_mm: float) -> bool:
    """Whether the model has an answer at this pitch."""
    return pitch_mm / diameter_mm < _WIDEST[model] * (1 + 1e-9)


def _flat_factor(model: str, pitch: float) -> float:
    """Of a layer whose turns lie side by side. pitch: in diameters, 1 to the model's widest."""
    half = min(pitch / 2, 1.0)
    if model == STACKED:
        return 1.0
    if model == NESTED:
        return sqrt(1 - half * half)
    return (sqrt(1 - half * half) + asin(half) / half) / 2


def default_rise_u(model: str | float, pitch_mm: float, diameter_mm: float) -> float:
    """Standard uncertainty of the rise factor where the job gives none. Raises ValueError as rise_factor does.

    Of a model: the true factor lies between the nested and the stacked one, near the model's more likely than far from
    it. That is a triangle with its peak at the model, L above its lower end and R below its upper one (as JCGM
    100, 4.3.9, but skew). Its mean is not its peak; the square of u is the mean square about the peak, which is what
    the plan goes by: (L^2 - L R + R^2) / 6, by integration over the triangle. 0.032 for "crossing" at p = d.
    """
    if not isinstance(model, str):
        return MEASURED_RISE_U
    peak = rise_factor(model, pitch_mm, diameter_mm)
    # at a pitch too wide to nest, strand sinks at most as deep as at the widest one
    lower = peak - rise_factor(NESTED, min(pitch_mm, _WIDEST[NESTED] * diameter_mm), diameter_mm)
    upper = rise_factor(STACKED, pitch_mm, diameter_mm) - peak
    return sqrt((lower * lower - lower * upper + upper * upper) / 6)
