"""Winds that were measured, and what each measurement should have been for a given strand.

The outer diameter over layer k is B + 2 d + 2 (k - 1) f d. Length and mass are those of the coil, whose
derivatives by inner radius and rise give those by barrel B, diameter d and rise factor f, since the inner
radius is (B + d)/2 and the rise f d. Mass is density times pi/4 d1 d2 times length.
"""

from __future__ import annotations

from fractions import Fraction
from math import hypot, sqrt
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

from reelwright.winding.calibration_figures import DENSITY, DIAMETER, RISE, StrandFigures
from reelwright.winding.calibration_fit import Observation
from reelwright.winding.calibration_readings import MOVED, Slip, is_near, slip_of
from reelwright.winding.coil import MOST_LAYERS
from reelwright.winding.mass import strand_mass_g
from reelwright.winding.source import SCALE_U_G

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from reelwright.winding.coil import Coil

CALIPER_U_MM = 0.3  # of an outer diameter: an outer layer is uneven, more than a caliper is
TAPE_U_SHARE = 0.001  # of a length laid along a tape piece by piece: a millimetre at each metre; our own guess
NEAR_BY_TARE = 0.05  # share by which a mass may miss what is expected with an empty spool put right; own choice
LIGHTEST_SPOOL = 0.02  # an empty spool's share of the strand that it bears; lighter ones are none: our own limit
FALLBACK_DENSITY_G_CM3 = 1.2  # where the fit for an unknown density begins


class ImpossibleMeasurementsError(ValueError):
    """Measurements that contradict one another or nature. faults: (place, sentence) of each."""

    def __init__(self, faults: Sequence[tuple[str, str]]) -> None:
        super().__init__("; ".join(f"{place}: {sentence}" for place, sentence in faults))
        self.faults = tuple(faults)


class LayerDiameter(NamedTuple):
    """The outer diameter over a finished layer, counted from 1 on the barrel."""

    layer: int
    outer_mm: float


@frozen
class MeasuredWind:
    """One wind and what was measured of it; None for what was not.

    barrel_mm, barrel_u_mm: barrel diameter, and its standard uncertainty. lay: from barrel diameter, mean strand
    diameter (both mm) and rise factor to the coil; with turns, the count, and its standard uncertainty turns_u.
    gross_mass_g, empty_mass_g: spool with and without strand, each with scale_u_g. length_m: of all
    strand wound, with tape_u_m (by default TAPE_U_SHARE of it). layers: with caliper_u_mm each.
    name: what to call it where there are several. source: where its count is kept, such as "job 12"; empty where
    that is not known.
    """

    barrel_mm: float | None = None
    barrel_u_mm: float = 0.1
    lay: Callable[[float, float, float], Coil] | None = None
    turns: float | None = None
    turns_u: float = 0.0
    pitch_mm: float | None = None
    gross_mass_g: float | None = None
    empty_mass_g: float | None = None
    scale_u_g: float = SCALE_U_G
    length_m: float | None = None
    tape_u_m: float | None = None
    layers: tuple[LayerDiameter, ...] = ()
    caliper_u_mm: float = CALIPER_U_MM
    name: str = ""
    source: str = ""

    @property
    def net_mass_g(self) -> float | None:
        """Mass of the strand."""
        if self.gross_mass_g is None or self.empty_mass_g is None:
            return None
        return self.gross_mass_g - self.empty_mass_g

    @property
    def measured(self) -> int:
        """How many values were measured."""
        return len(self.layers) + (self.gross_mass_g is not None) + (self.length_m is not None)

    @property
    def barrel(self) -> str:
        """The name of its barrel diameter among the unknowns."""
        return f"barrel diameter {self.name}".strip()


class Measurement(NamedTuple):
    """One measured value, ready to be fitted. Unit as named; number counts from 1 over all winds.

    evidence: what was measured, as it is kept with the figures that rest on it. weighed: of a mass, its wind.
    """

    number: int
    unit: str
    observation: Observation
    evidence: str
    weighed: MeasuredWind | None = None

    def slip(self, expected: Sequence[float]) -> Slip | None:
        """That its decimal point seems to have slipped; None where none has. expected: the unknowns, roughly."""
        near = self.observation.predict(expected)[0]
        if self.weighed is not None:
            return weight_slip(self.weighed, near)
        return slip_of(self.observation.measured, near, self.unit)


def wind_faults(wind: MeasuredWind) -> list[tuple[str, str]]:
    """Everything about a wind that cannot be."""
    return [*_weighing_faults(wind), *_length_faults(wind), *_layer_faults(wind)]


def _weighing_faults(wind: MeasuredWind) -> Iterator[tuple[str, str]]:
    gross, empty = wind.gross_mass_g, wind.empty_mass_g
    if gross is not None and empty is not None and empty >= gross:
        yield (
            "empty_mass_g",
            f"an empty spool of {empty:g} g is not lighter than the wound one of {gross:g} g; exchange or correct them",
        )
    elif (gross is None) != (empty is None):
        key = "empty_mass_g" if empty is None else "gross_mass_g"
        yield key, "this weight is missing; the strand's mass is the wound spool less the empty one"
    if gross is not None:
        yield from _count_faults(wind, "a mass")


def _length_faults(wind: MeasuredWind) -> Iterator[tuple[str, str]]:
    if wind.length_m is not None:
        yield from _count_faults(wind, "a length")


def _count_faults(wind: MeasuredWind, what: str) -> Iterator[tuple[str, str]]:
    if wind.turns is None or wind.lay is None or wind.barrel_mm is None:
        yield "turns", f"{what} says nothing without the spool, the winder and the turns counted; give them"


def _passes(wind: MeasuredWind) -> int | None:
    """Layers begun by the count; None where it is not known. They hang on the winder alone, not on the strand."""
    if wind.lay is None or wind.turns is None:
        return None
    coil = wind.lay(wind.barrel_mm or 1.0, 1.0, 1.0)
    full = coil.full_passes(Fraction(wind.turns))
    return full + (wind.turns > coil.end_turns(full))  # as floats, as the count is one


def _layer_faults(wind: MeasuredWind) -> Iterator[tuple[str, str]]:
    below: LayerDiameter | None = None
    passes = _passes(wind)
    if passes is not None and passes > MOST_LAYERS:
        yield "turns", f"{wind.turns:g} turns make more than {MOST_LAYERS} layers, which no spool holds; count again"
    for place, each in sorted(enumerate(wind.layers), key=lambda entry: entry[1]):
        if passes is not None and each.layer > passes:
            sentence = f"layer {each.layer} was not wound: {wind.turns:g} turns make {passes}; check number and count"
            yield f"layers[{place}]", sentence
        over = f"{each.outer_mm:g} mm over layer {each.layer} is not more than the"
        if wind.barrel_mm is not None and each.outer_mm <= wind.barrel_mm:
            swapped = (
                "exchange them if they are swapped, or measure" if each.outer_mm < wind.barrel_mm else "measure it"
            )
            yield f"layers[{place}]", f"{over} barrel's {wind.barrel_mm:g} mm; {swapped} again"
        elif below and each.layer > below.layer and each.outer_mm <= below.outer_mm:
            sentence = f"{over} {below.outer_mm:g} mm over layer {below.layer}, and each layer lies on the one before"
            swapped = "the two look swapped: exchange them, or " if each.outer_mm < below.outer_mm else ""
            yield f"layers[{place}]", f"{sentence}; {swapped}measure again"
        below = each


def measurements(
    winds: Sequence[MeasuredWind], index: Mapping[str, int], about: StrandFigures, first_number: int = 1
) -> list[Measurement]:
    """Every measured value of these winds, in the order of the winds: layers, mass, length.

    index: place of each unknown in the fit. about: the strand near which the count's half pulse is weighed.
    """
    found: list[Measurement] = []
    for wind in winds:
        for unit, observation in _of_wind(wind, index, about):
            evidence = evidence_of(observation.name, observation.measured, unit, wind)
            name = f"{observation.name} of {wind.name}" if wind.name else observation.name
            number = first_number + len(found)
            weighed = wind if unit == "g" else None
            found.append(Measurement(number, unit, observation._replace(name=name), evidence, weighed))
    return found


def slips(values: Iterable[Measurement], expected: Sequence[float]) -> list[tuple[str, str]]:
    """(measurement, sentence) of each whose decimal point has slipped. expected: the unknowns, roughly."""
    found = []
    for value in values:
        if slip := value.slip(expected):
            told = f"did you mean {slip.meant}? {slip.given} is far from what this wind can have"
            found.append((value.observation.name, told))
    return found


def weight_slip(wind: MeasuredWind, expected_g: float) -> Slip | None:
    """That the decimal point of a weighing has slipped: of the wound spool, of the empty one, or of both alike.

    None unless the strand's mass then is near what is expected, and nearer by half than as it was given; an empty spool
    alone, which is a small part of the whole, must explain all of it.
    """
    gross, empty = wind.gross_mass_g, wind.empty_mass_g
    if gross is None or empty is None:
        return None
    ways: list[tuple[float, float, float | None]] = [(factor * gross, empty, None) for factor in MOVED]
    ways += [(gross, factor * empty, None) for factor in MOVED]
    ways += [(factor * gross, factor * empty, factor) for factor in MOVED]
    wound, bare, factor = min(ways, key=lambda way: abs(way[0] - way[1] - expected_g))
    net = wound - bare
    is_nearer = abs(net - expected_g) < abs(gross - empty - expected_g) / 2
    explains_all = abs(net / expected_g - 1) < NEAR_BY_TARE and bare >= LIGHTEST_SPOOL * net
    if not is_nearer or not is_near(net, expected_g) or (wound == gross and not explains_all):
        return None
    return Slip(f"{gross:.6g} g less {empty:.6g} g", f"{wound:.6g} g less {bare:.6g} g", factor)


def evidence_of(kind: str, value: float, unit: str, wind: MeasuredWind | None = None) -> str:
    """A measured value in words: "mass: 118.6 g, 165 turns, job 12". An outer diameter does not hang on the turns."""
    parts = [f"{kind}: {value:.6g} {unit}"]
    if wind is not None and wind.turns is not None and unit != "mm":
        parts.append(f"{wind.turns:.4g} turns")
    if wind is not None and wind.source:
        parts.append(wind.source)
    return ", ".join(parts)


def _of_wind(wind: MeasuredWind, index: Mapping[str, int], about: StrandFigures) -> Iterator[tuple[str, Observation]]:
    for layer, outer_mm in wind.layers:
        predict = _outer_diameter(layer, wind, index)
        yield "mm", Observation(f"outer diameter over layer {layer}", outer_mm, wind.caliper_u_mm, predict)
    coil_model = _CoilModel(wind, index, about)
    if wind.net_mass_g is not None:
        u = hypot(sqrt(2) * wind.scale_u_g, coil_model.turn_mass_g() * wind.turns_u)
        yield "g", Observation("mass", wind.net_mass_g, u, coil_model.mass_g)
    if wind.length_m is not None:
        tape_u_m = TAPE_U_SHARE * wind.length_m if wind.tape_u_m is None else wind.tape_u_m
        u = hypot(tape_u_m, coil_model.turn_m() * wind.turns_u)
        yield "m", Observation("length", wind.length_m, u, coil_model.length_m)


def _outer_diameter(
    layer: int, wind: MeasuredWind, index: Mapping[str, int]
) -> Callable[[Sequence[float]], tuple[float, Sequence[float]]]:
    above = layer - 1

    def predict(unknowns: Sequence[float]) -> tuple[float, Sequence[float]]:
        barrel, diameter, rise = (unknowns[index[name]] for name in (wind.barrel, DIAMETER, RISE))
        slopes = [0.0] * len(unknowns)
        slopes[index[wind.barrel]] = 1.0
        slopes[index[DIAMETER]] = 2 + 2 * above * rise
        slopes[index[RISE]] = 2 * above * diameter
        return barrel + 2 * diameter + 2 * above * rise * diameter, slopes

    return predict


class _CoilModel:
    """Length and mass of one wind as functions of the unknowns, with their derivatives."""

    def __init__(self, wind: MeasuredWind, index: Mapping[str, int], about: StrandFigures) -> None:
        self._wind, self._index, self._about = wind, index, about

    def length_m(self, unknowns: Sequence[float]) -> tuple[float, Sequence[float]]:
        """Length of all strand wound."""
        length_mm, slopes = self._length_mm(unknowns)
        return length_mm / 1000, [slope / 1000 for slope in slopes]

    def mass_g(self, unknowns: Sequence[float]) -> tuple[float, Sequence[float]]:
        """Mass of all strand wound."""
        length_mm, slopes = self._length_mm(unknowns)
        diameter, density = unknowns[self._index[DIAMETER]], unknowns[self._index[DENSITY]]
        wide, narrow = self._about.diameters_mm(diameter)
        mass = strand_mass_g(length_mm, density, wide, narrow)
        by = [mass * slope / length_mm for slope in slopes]
        by[self._index[DIAMETER]] += mass * 2 * diameter / (wide * narrow)
        by[self._index[DENSITY]] += mass / density
        return mass, by

    def turn_m(self) -> float:
        """Length of the turn laid last."""
        coil, turns = self._coil(self._wind.barrel_mm or 0.0, self._about.diameter_mm, self._about.rise or 1.0)
        return coil.turn_length_at_mm(turns) / 1000

    def turn_mass_g(self) -> float:
        """Mass of the turn laid last."""
        density = self._about.density_g_cm3 or FALLBACK_DENSITY_G_CM3
        return strand_mass_g(1000 * self.turn_m(), density, *self._about.diameters_mm())

    def _length_mm(self, unknowns: Sequence[float]) -> tuple[float, list[float]]:
        index = self._index
        barrel, diameter, rise = (unknowns[index[name]] for name in (self._wind.barrel, DIAMETER, RISE))
        if min(barrel, diameter, rise) <= 0:
            raise ValueError("no coil is smaller than nothing")
        coil, turns = self._coil(barrel, diameter, rise)
        by_radius, by_rise = coil.sensitivities(turns)
        slopes = [0.0] * len(unknowns)
        slopes[index[self._wind.barrel]] = by_radius / 2
        slopes[index[DIAMETER]] = by_radius / 2 + by_rise * rise
        slopes[index[RISE]] = by_rise * diameter
        return coil.length_mm(turns), slopes

    def _coil(self, barrel_mm: float, diameter_mm: float, rise: float) -> tuple[Coil, float]:
        if self._wind.lay is None or self._wind.turns is None:
            raise TypeError("a wind is checked before it is fitted")
        return self._wind.lay(barrel_mm, diameter_mm, rise), self._wind.turns
