"""Micrometer readings of a strand: mean diameter and ovality, with their uncertainty (JCGM 100, 4.2 and 4.3)."""

from __future__ import annotations

from math import hypot, sqrt
from statistics import mean, median, stdev
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

from reelwright.winding.distributions import effective_degrees, student_factor

if TYPE_CHECKING:
    from collections.abc import Sequence

# Above it a reading stands out: modified z-score of Iglewicz and Hoaglin, NIST/SEMATECH e-Handbook, 1.3.5.17.
OUTLIER_Z = 3.5
_OF_NORMAL = 0.6745  # median absolute deviation of a normal distribution, in standard deviations; same source
RESOLUTION_MM = 0.01  # of a plain micrometer
ERROR_LIMIT_MM = 0.004  # of a micrometer up to 25 mm, DIN 863-1; from memory
FEWEST_READINGS = 2  # scatter needs two
FEWEST_JUDGED = 3  # of two none lies nearer to their middle
_NEAR = 0.2  # share by which a value may miss what is expected of it once its decimal point is put right; own choice
KINDS = ("diameter", "mean of two diameters")


MOVED = (0.1, 10.0)  # what a decimal point slipped by one place makes of a value, put right


class Slip(NamedTuple):
    """A measurement whose decimal point seems to have slipped.

    given, meant: as a person writes the value, with its unit. factor: from the one to the other; None where only a
    part of the measurement has slipped.
    """

    given: str
    meant: str
    factor: float | None = None


def is_near(value: float, expected: float) -> bool:
    """Whether a value is so close to what is expected that its digits are not in doubt."""
    return abs(value / expected - 1) < _NEAR


def slip_of(measured: float, expected: float, unit: str) -> Slip | None:
    """That a value is near what is expected with its decimal point moved by one place; else None."""
    for factor in MOVED:
        if is_near(factor * measured, expected):
            return Slip(f"{measured:.6g} {unit}", f"{factor * measured:.6g} {unit}", factor)
    return None


class Reading(NamedTuple):
    """One place of the strand: across its wide side, and at right angles to that where both were measured."""

    wide_mm: float
    narrow_mm: float | None = None

    @property
    def kind(self) -> str:
        """What was read, of KINDS."""
        return KINDS[self.narrow_mm is not None]

    @property
    def mean_mm(self) -> float:
        """Mean of the two diameters."""
        return self.wide_mm if self.narrow_mm is None else (self.wide_mm + self.narrow_mm) / 2

    def slip(self, expected_mm: float) -> Slip | None:
        """That a decimal point of it has slipped; None where none has."""
        values = [each for each in self if each is not None]
        slips = [slip_of(each, expected_mm, "mm") for each in values]
        if not any(slips):
            return None
        factors = {each and each.factor for each in slips}
        given = [f"{value:.6g} mm" for value in values]
        meant = [each.meant if each else value for each, value in zip(slips, given, strict=True)]
        return Slip("/".join(given), "/".join(meant), factors.pop() if len(factors) == 1 else None)

    @property
    def difference_mm(self) -> float:
        """Wide less narrow; 0 where one was measured."""
        return 0.0 if self.narrow_mm is None else self.wide_mm - self.narrow_mm


@frozen
class Micrometer:
    """The instrument. resolution_mm: last digit. error_limit_mm: largest error, either way, equally likely within."""

    resolution_mm: float = RESOLUTION_MM
    error_limit_mm: float = ERROR_LIMIT_MM

    @property
    def resolution_u_mm(self) -> float:
        """Of what the last digit hides: evenly within half of it either way (JCGM 100, F.2.2.1)."""
        return self.resolution_mm / sqrt(12)

    @property
    def error_u_mm(self) -> float:
        """Of the instrument's own error, evenly within its limits (JCGM 100, 4.3.7)."""
        return self.error_limit_mm / sqrt(3)


@frozen
class MeanOfReadings:
    """A mean. scatter: experimental standard deviation. u: such that 2 u hold the truth in about 95 % of cases.

    random_u: of the mean, from the scatter alone (type A). degrees: effective, of the combined uncertainty.
    """

    value: float
    scatter: float
    count: int
    random_u: float
    degrees: float
    u: float


@frozen
class MeasuredDiameter:
    """What readings say of a strand. ovality: of wide less narrow; None where single diameters were read."""

    mean: MeanOfReadings
    ovality: MeanOfReadings | None

    @property
    def is_oval(self) -> bool:
        """Whether the ovality is more than its own uncertainty."""
        return self.ovality is not None and abs(self.ovality.value) > 2 * self.ovality.u


def mean_of_readings(values: Sequence[float], known_u: float) -> MeanOfReadings:
    """The mean of two or more values, and its uncertainty: the scatter, and known_u of what they have in common.

    The scatter of few readings is itself unsure. Student's factor for the effective degrees of freedom
    (JCGM 100, G.4) says by how much 95 % are wider than 2 u, and u is raised by as much, so that whoever
    takes k = 2 gets 95 %.
    """
    scatter = stdev(values)
    random_u = scatter / sqrt(len(values))
    combined = hypot(random_u, known_u)
    degrees = effective_degrees(combined, random_u, len(values) - 1)
    return MeanOfReadings(
        value=mean(values),
        scatter=scatter,
        count=len(values),
        random_u=random_u,
        degrees=degrees,
        u=combined * student_factor(degrees) / 2,
    )


def measured_diameter(readings: Sequence[Reading], micrometer: Micrometer) -> MeasuredDiameter:
    """Mean diameter and, from pairs, ovality. readings: at least FEWEST_READINGS, all single or all pairs.

    In the difference of a pair the instrument's own error goes out, and the last digit comes in twice.
    """
    known_u = hypot(micrometer.resolution_u_mm, micrometer.error_u_mm)
    ovality = None
    if all(reading.narrow_mm is not None for reading in readings):
        differences = [reading.difference_mm for reading in readings]
        ovality = mean_of_readings(differences, sqrt(2) * micrometer.resolution_u_mm)
    return MeasuredDiameter(mean_of_readings([reading.mean_mm for reading in readings], known_u), ovality)


def modified_z_scores(values: Sequence[float], least_spread: float) -> list[float]:
    """How far each value lies from the median, in robust standard deviations; 0 for fewer than FEWEST_JUDGED.

    least_spread: what counts as one where the values agree more closely, such as the last digit, since
    readings that are equal to the last digit have no deviation at all to compare with.
    """
    if len(values) < FEWEST_JUDGED:
        return [0.0] * len(values)
    middle = median(values)
    spread = max(median(abs(value - middle) for value in values) / _OF_NORMAL, least_spread)
    return [(value - middle) / spread for value in values]


class ReadingScore(NamedTuple):
    """How far a reading lies from the others: the modified z-score of its mean, or of its difference if that is more.

    usual_difference_mm: median of the differences; None where the mean is what lies further off. exchanged: its
    difference stands out and would not with wide and narrow exchanged.
    """

    z: float
    usual_difference_mm: float | None = None
    exchanged: bool = False

    @property
    def stands_out(self) -> bool:
        """Whether it lies further off than chance explains."""
        return abs(self.z) > OUTLIER_Z


def reading_scores(readings: Sequence[Reading], micrometer: Micrometer) -> list[ReadingScore]:
    """The score of each reading."""
    differences = [reading.difference_mm for reading in readings]
    by_mean = modified_z_scores([reading.mean_mm for reading in readings], micrometer.resolution_mm)
    by_difference = modified_z_scores(differences, 2 * micrometer.resolution_mm)
    usual_mm = median(differences)
    scores = []
    for mean_z, difference_z, difference_mm in zip(by_mean, by_difference, differences, strict=True):
        if abs(difference_z) <= abs(mean_z):
            scores.append(ReadingScore(mean_z))
            continue
        # the other way round it lies as much nearer to the usual difference as the two distances say
        other_way = abs(difference_z * (difference_mm + usual_mm) / (difference_mm - usual_mm))
        exchanged = abs(difference_z) > OUTLIER_Z >= other_way
        scores.append(ReadingScore(difference_z, usual_mm, exchanged))
    return scores
