"""From measured winds to a strand's diameter, rise factor and density, by one weighted fit for every method.

What was known before counts as a measurement too, unless the method takes it as open: a wind of known outer
diameters leaves the rise open; a weighed spool leaves open the one figure that makes its mass least sure; a
taped length, and several winds together, leave nothing open and better all that they tell of.

What a weight can tell: a mass is density x section x length, so one weighing gives one figure. The length of
a wind hangs mostly on barrel and rise, its mass on the section squared. Weighing therefore betters the length
of later winds only where the mass of a metre is better known than the rise; else it betters their mass.
"""

from __future__ import annotations

from math import hypot, sqrt
from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve, frozen

from reelwright.winding.calibration_change import is_surer
from reelwright.winding.calibration_figures import DENSITY, DIAMETER, FIGURES, RISE, StrandFigures, cholesky
from reelwright.winding.calibration_fit import Fit, NoFitError, Observation, UndeterminedError, fit
from reelwright.winding.calibration_readings import OUTLIER_Z, Slip, is_near
from reelwright.winding.calibration_winds import (
    FALLBACK_DENSITY_G_CM3,
    ImpossibleMeasurementsError,
    MeasuredWind,
    Measurement,
    measurements,
    slips,
    wind_faults,
)
from reelwright.winding.distributions import chi_square_tail
from reelwright.winding.job import Strand
from reelwright.winding.nouns import count_of
from reelwright.winding.quantities import Quantity, quantity_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from reelwright.winding.calibration_fit import Predict

# Beyond them a layer number, a count, a weight or a unit is wrong.
RANGES = {
    DIAMETER: quantity_of(Strand, "diameter_mm"),
    RISE: Quantity(at_least=0.5, at_most=1.2),
    DENSITY: quantity_of(Strand, "density_g_cm3"),
}
# Less likely than that, the measurements contradict their uncertainties: Cox, Metrologia 39 (2002) 589, from memory.
INCONSISTENT = 0.05
_START_RISE = 0.95
_EXACT = 1e-9  # share of a figure that counts as its uncertainty where none is given


class FittedValue(NamedTuple):
    """A measured value beside what the fit makes of it.

    normalized: difference in standard uncertainties of the difference; None where it cannot be judged. stands_out:
    it was used although it lies further off than chance explains; it is then judged without those that lie further
    off still. doubt: what makes it stand out, where that is more than the distance. evidence: as of a Measurement.
    slip: that its decimal point seems to have slipped; None where it does not, or the value is not in doubt.
    """

    number: int
    name: str
    unit: str
    measured: float
    u: float
    fitted: float
    normalized: float | None
    left_out: bool
    stands_out: bool
    doubt: str = ""
    evidence: str = ""
    slip: Slip | None = None


@frozen
class Estimated:
    """What measured winds say of the strand.

    solved: names of the figures that the measurements settle. scatter: Birge ratio of the fit, by which all
    uncertainties were raised where the measurements are not consistent.
    """

    figures: StrandFigures
    solved: tuple[str, ...]
    values: tuple[FittedValue, ...]
    chi_square: float
    degrees: int
    scatter: float
    consistent: bool


class MassForecast(NamedTuple):
    """A mass foretold. relative_u: its relative uncertainty from each figure alone; least_known has the largest.

    expected_g: the mass. off: how far the weighed mass lies from it, in standard uncertainties of the difference.
    """

    least_known: str
    expected_g: float
    relative_u: Mapping[str, float]
    off: float


def fit_winds(
    winds: Sequence[MeasuredWind],
    known: StrandFigures,
    open_figures: Collection[str] = (),
    leave_out: Collection[int] = (),
    first_number: int = 1,
) -> Estimated:
    """The strand's figures from everything measured of these winds and what was known before.

    open_figures: names of FIGURES whose earlier value does not count. leave_out: numbers of measurements that
    are shown and not used, counted from first_number. Raises ImpossibleMeasurementsError with every fault.
    """
    _check(winds, known, leave_out, first_number)
    index = _unknowns(winds, known)
    settled = _with_starts(known)
    all_values = measurements(winds, index, settled, first_number)
    used = [value for value in all_values if value.number not in leave_out]
    before = _known_before(winds, known, index, open_figures)
    start = [_start(name, winds, settled) for name in index]
    try:
        found = fit([value.observation for value in used] + before, start)
        outlying = _one_by_one(used, before, found)
    except UndeterminedError as undetermined:
        raise _undetermined(list(index), undetermined.index, used, winds) from None
    except NoFitError:
        unlike = [("measurements", "no strand comes near them; check the count, the spool and the units")]
        raise ImpossibleMeasurementsError(slips(used, start) or _of_another(unlike, used, start, known)) from None
    try:
        estimated = _estimated(found, index, known, all_values, used, outlying, open_figures)
    except ImpossibleMeasurementsError as impossible:
        faults = slips(used, start) or _of_another(impossible.faults, used, start, known)
        raise ImpossibleMeasurementsError(faults) from None
    slipped = {value.number: value.slip(start) for value in used if value.number in outlying}
    return evolve(estimated, values=tuple(each._replace(slip=slipped.get(each.number)) for each in estimated.values))


def _one_by_one(used: Sequence[Measurement], before: Sequence[Observation], found: Fit) -> dict[int, float]:
    """Numbers of the measurements that stand out, and how far each lay off when it was named.

    One gross error bends the fit towards it and makes good measurements look bad. Therefore only the one that is
    furthest off is named, and the rest is judged again without it (Baarda's data snooping, 1968, from memory).
    """
    outlying: dict[int, float] = {}
    left = list(used)
    while left:
        judged = zip(left, found.normalized, strict=False)
        worst, off = max(((value, off or 0.0) for value, off in judged), key=lambda pair: abs(pair[1]))
        if abs(off) <= OUTLIER_Z:
            break
        outlying[worst.number] = off
        left.remove(worst)
        found = fit([value.observation for value in left] + list(before), found.values)
    return outlying


def forecast_of_weight(wind: MeasuredWind, known: StrandFigures) -> MassForecast:
    """What the wind's mass should be by what was known, and what makes it unsure.

    Raises ImpossibleMeasurementsError for a wind that was not weighed, or a strand without a density.
    """
    if wind.gross_mass_g is None and wind.empty_mass_g is None:
        sentence = "the spool was not weighed; give its mass with and without the strand"
        raise ImpossibleMeasurementsError([("gross_mass_g", sentence)])
    _check([wind], known)
    if known.density_g_cm3 is None or known.rise is None:
        sentence = "a mass says nothing without the density; give it, or a material that is known"
        raise ImpossibleMeasurementsError([("strand.density_g_cm3", sentence)])
    index = _unknowns([wind], known)
    weighed = next(value for value in measurements([wind], index, known) if value.unit == "g")
    expected, slopes = weighed.observation.predict([_start(name, [wind], known) for name in index])
    variance = (slopes[index[wind.barrel]] * wind.barrel_u_mm) ** 2 + sum(
        slopes[index[one]] * slopes[index[other]] * known.covariance(one, other) for one in FIGURES for other in FIGURES
    )
    relative_u = {name: abs(slopes[index[name]]) * known.u(name) / expected for name in FIGURES}
    off = (weighed.observation.measured - expected) / hypot(sqrt(max(variance, 0.0)), weighed.observation.u)
    return MassForecast(max(relative_u, key=lambda name: relative_u[name]), expected, relative_u, off)


def _check(
    winds: Sequence[MeasuredWind], known: StrandFigures, leave_out: Collection[int] = (), first_number: int = 1
) -> None:
    faults = [
        (f"{wind.name}.{place}" if wind.name else place, sentence)
        for wind in winds
        for place, sentence in _faults_of(wind, known)
    ]
    count = sum(wind.measured for wind in winds)
    if not count:
        faults.append(("measurements", "nothing was measured; give outer diameters, weights or a taped length"))
    for number in sorted(leave_out):
        if not first_number <= number < first_number + count:
            faults.append(("leave_out", f"there is no measurement {number} among the {first_number + count - 1}"))
    if faults:
        raise ImpossibleMeasurementsError(faults)


def _faults_of(wind: MeasuredWind, known: StrandFigures) -> list[tuple[str, str]]:
    """What cannot be of a wind; of weights that leave no strand, what a slipped decimal point makes of them."""
    faults = wind_faults(wind)
    if [place for place, _ in faults] != ["empty_mass_g"] or wind.net_mass_g is None:
        return faults
    index, settled = _unknowns([wind], known), _with_starts(known)
    mass = next(value for value in measurements([wind], index, settled) if value.weighed)
    slip = mass.slip([_start(name, [wind], settled) for name in index])
    if slip is None:
        return faults
    told = f"{wind.gross_mass_g:g} g of the wound spool less {wind.empty_mass_g:g} g of the empty one leave no strand"
    return [("empty_mass_g", f"{told}; did you mean {slip.meant}?")]


def _unknowns(winds: Sequence[MeasuredWind], known: StrandFigures) -> dict[str, int]:
    """Place of each unknown; the density only where it was known before or something was weighed."""
    names = [DIAMETER, RISE]
    if known.density_g_cm3 is not None or any(wind.net_mass_g is not None for wind in winds):
        names.append(DENSITY)
    names += [wind.barrel for wind in winds]
    return {name: place for place, name in enumerate(names)}


def _with_starts(known: StrandFigures) -> StrandFigures:
    return evolve(
        known,
        rise=_START_RISE if known.rise is None else known.rise,
        density_g_cm3=FALLBACK_DENSITY_G_CM3 if known.density_g_cm3 is None else known.density_g_cm3,
    )


def _start(name: str, winds: Sequence[MeasuredWind], known: StrandFigures) -> float:
    if name in FIGURES:
        return known.value(name) or 0.0
    wind = next(each for each in winds if each.barrel == name)
    if wind.barrel_mm is not None:
        return wind.barrel_mm
    return min(each.outer_mm for each in wind.layers)


def _known_before(
    winds: Sequence[MeasuredWind], known: StrandFigures, index: dict[str, int], open_figures: Collection[str]
) -> list[Observation]:
    """What was known, as measurements of the unknowns themselves.

    Correlated figures become uncorrelated ones by the triangle L of their correlation matrix: L z = (x - x0) / u.
    """
    names = [name for name in FIGURES if name not in open_figures and known.value(name) is not None]
    lower = cholesky([[known.correlation(one, other) for other in names] for one in names])
    rows = [_whitened(names, place, lower, known, index) for place in range(len(names))]
    for wind in winds:
        if wind.barrel_mm is not None:
            u = max(wind.barrel_u_mm, _EXACT * wind.barrel_mm)
            rows.append(Observation(wind.barrel, wind.barrel_mm, u, _itself(index[wind.barrel], len(index))))
    return rows


def _itself(place: int, size: int) -> Predict:
    slopes = [float(at == place) for at in range(size)]
    return lambda unknowns: (unknowns[place], slopes)


def _whitened(
    names: Sequence[str], place: int, lower: list[list[float]], known: StrandFigures, index: dict[str, int]
) -> Observation:
    """One row of z = L^-1 (x - x0) / u, which is 0 with u 1."""
    weights = _inverse_row(lower, place)
    slopes = [0.0] * len(index)
    nominal = 0.0
    for weight, name in zip(weights, names, strict=True):
        value = known.value(name) or 0.0
        slopes[index[name]] = weight / max(known.u(name), _EXACT * abs(value))
        nominal += slopes[index[name]] * value

    def predict(unknowns: Sequence[float]) -> tuple[float, Sequence[float]]:
        return sum(slope * unknown for slope, unknown in zip(slopes, unknowns, strict=True)) - nominal, slopes

    return Observation(f"the {names[place]} known before", 0.0, 1.0, predict)


def _inverse_row(lower: list[list[float]], place: int) -> list[float]:
    """Row `place` of the inverse of a lower triangle; a figure that hangs on the others alone is held to them."""
    row = [0.0] * len(lower)
    for column in range(place, -1, -1):
        right = 1.0 if column == place else 0.0
        rest = right - sum(part * below[column] for part, below in zip(row, lower, strict=True))  # found so far
        row[column] = rest / max(lower[column][column], _EXACT)
    return row


def _undetermined(
    names: list[str], place: int, used: Sequence[Measurement], winds: Sequence[MeasuredWind]
) -> ImpossibleMeasurementsError:
    count = count_of(len(used), "measurement")
    if any(wind.barrel_mm is None for wind in winds):
        sentence = f"{count} cannot settle the {RISE} without the barrel; give its diameter, or measure a second layer"
        return ImpossibleMeasurementsError([("barrel_mm", f"{sentence} well apart")])
    name = names[place]
    mend = "tape the length too" if name == DENSITY else "measure a layer further out"
    return ImpossibleMeasurementsError([("measurements", f"{count} cannot settle the {name}; {mend}")])


def _estimated(
    found: Fit,
    index: dict[str, int],
    known: StrandFigures,
    all_values: Sequence[Measurement],
    used: Sequence[Measurement],
    outlying: Mapping[int, float],
    open_figures: Collection[str],
) -> Estimated:
    consistent = found.degrees == 0 or chi_square_tail(found.chi_square, found.degrees) >= INCONSISTENT
    raised = 1.0 if consistent else found.scatter
    figures = _figures(found, index, known, raised)
    faults = [fault for name in FIGURES for fault in _beyond_nature(name, figures.value(name))]
    if faults:
        raise ImpossibleMeasurementsError(faults)
    solved = tuple(name for name in FIGURES if name in index and _bettered(name, figures, known, open_figures))
    judged = dict(zip((value.number for value in used), found.normalized[: len(used)], strict=True))
    values = tuple(
        FittedValue(
            number=value.number,
            name=value.observation.name,
            unit=value.unit,
            measured=value.observation.measured,
            u=value.observation.u,
            fitted=value.observation.predict(found.values)[0],
            normalized=outlying.get(value.number, judged.get(value.number)),
            left_out=value.number not in judged,
            stands_out=value.number in outlying,
            doubt=_judged_without(value.number, list(outlying)),
            evidence=value.evidence,
        )
        for value in all_values
    )
    return Estimated(figures, solved, values, found.chi_square, found.degrees, found.scatter, consistent)


def _judged_without(number: int, named: list[int]) -> str:
    """What was set aside when this one was named; empty for the first, and for those that were not named."""
    before = sorted(named[: named.index(number)]) if number in named else []
    return f"this is judged without measurement {', '.join(map(str, before))}" if before else ""


def _of_another(
    faults: Sequence[tuple[str, str]], used: Sequence[Measurement], start: Sequence[float], known: StrandFigures
) -> list[tuple[str, str]]:
    """The faults, and the question whether it is another strand where the known one weighs far more or less, or cannot
    lie as this wind does."""
    named = f"the one named, of {known.diameter_mm:.2f} mm,"
    asked = ""
    if known.rise is not None and not RANGES[RISE].allows(known.rise):
        asked = f"{named} would rise by {known.rise:.4g} of its diameter at this lay pitch"
    for value in used:
        expected, measured = value.observation.predict(start)[0], value.observation.measured
        if value.unit == "g" and not is_near(measured, expected):
            asked = f"{named} would weigh {expected:.0f} g, and {measured:.0f} g were weighed"
    told = f"; is this another strand? {asked[:1].upper()}{asked[1:]}: name the one that was wound" if asked else ""
    return [(place, sentence + told) for place, sentence in faults]


def _beyond_nature(name: str, value: float | None) -> Iterator[tuple[str, str]]:
    """What is wrong with a figure that no strand has."""
    if value is not None and not RANGES[name].allows(value):
        figure, unit = "rise factor" if name == RISE else name, f" {RANGES[name].unit}".rstrip()
        sentence = (
            f"a {figure} of {value:.4g}{unit} would follow, but a strand's is {RANGES[name].range_text()}; check the "
            "layers' numbers, the count, the weights and the units"
        )
        yield name, sentence


def _bettered(name: str, figures: StrandFigures, known: StrandFigures, open_figures: Collection[str]) -> bool:
    """Whether the measurements tell of this figure: it was open, or is surer by a tenth than before."""
    return name in open_figures or known.value(name) is None or is_surer(figures.u(name), known.u(name))


def _figures(found: Fit, index: dict[str, int], known: StrandFigures, raised: float) -> StrandFigures:
    def correlation(first: str, second: str) -> float:
        if second not in index:
            return 0.0
        return max(-1.0, min(1.0, found.correlation(index[first], index[second])))

    density = index.get(DENSITY)
    return StrandFigures(
        diameter_mm=found.values[index[DIAMETER]],
        diameter_u_mm=raised * found.u(index[DIAMETER]),
        ovality_mm=known.ovality_mm,
        rise=found.values[index[RISE]],
        rise_u=raised * found.u(index[RISE]),
        density_g_cm3=None if density is None else found.values[density],
        density_u_g_cm3=0.0 if density is None else raised * found.u(density),
        correlations=(correlation(DIAMETER, RISE), correlation(DIAMETER, DENSITY), correlation(RISE, DENSITY)),
    )
