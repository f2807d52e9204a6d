"""What is known of a strand: its figures, how sure each is, and what they have in common."""

from __future__ import annotations

from math import pi, sqrt
from typing import TYPE_CHECKING, NamedTuple

from attrs import frozen

from reelwright.winding.mass import strand_mass_g

if TYPE_CHECKING:
    from collections.abc import Sequence

DIAMETER, RISE, DENSITY = "diameter", "rise", "density"
FIGURES = (DIAMETER, RISE, DENSITY)
Correlations = tuple[float, float, float]  # of diameter and rise, diameter and density, rise and density


class LabelDensity(NamedTuple):
    """The density that a strand has without any calibration, its standard uncertainty, and who says so."""

    density_g_cm3: float
    u_g_cm3: float
    source: str


@frozen
class StrandFigures:
    """Mean diameter, ovality, rise factor and density of a strand, with standard uncertainties.

    ovality_mm: wide less narrow diameter, taken as exact. rise and density_g_cm3 are None where nothing is
    known of them. correlations: each -1 to 1; where figures were found together, an error of one goes with
    an error of the other. calibrated: names of those that an earlier calibration gave. rise_pitch_mm: lay pitch
    at which a measured rise was found.
    """

    diameter_mm: float
    diameter_u_mm: float
    ovality_mm: float = 0.0
    rise: float | None = None
    rise_u: float = 0.0
    density_g_cm3: float | None = None
    density_u_g_cm3: float = 0.0
    correlations: Correlations = (0.0, 0.0, 0.0)
    calibrated: tuple[str, ...] = ()
    rise_pitch_mm: float | None = None

    def value(self, name: str) -> float | None:
        """The figure of this name, of FIGURES."""
        return {DIAMETER: self.diameter_mm, RISE: self.rise, DENSITY: self.density_g_cm3}[name]

    def u(self, name: str) -> float:
        """Its standard uncertainty."""
        return {DIAMETER: self.diameter_u_mm, RISE: self.rise_u, DENSITY: self.density_u_g_cm3}[name]

    def correlation(self, first: str, second: str) -> float:
        """Of two figures, 1 of a figure with itself."""
        if first == second:
            return 1.0
        with_rise, with_density, of_others = self.correlations
        if DIAMETER in (first, second):
            return with_rise if RISE in (first, second) else with_density
        return of_others

    def covariance(self, first: str, second: str) -> float:
        """Of two figures, in the product of their units."""
        return self.correlation(first, second) * self.u(first) * self.u(second)

    def diameters_mm(self, mean_mm: float | None = None) -> tuple[float, float]:
        """Wide and narrow diameter, at this or another mean."""
        mean = self.diameter_mm if mean_mm is None else mean_mm
        return mean + self.ovality_mm / 2, mean - self.ovality_mm / 2

    def section_mm2(self) -> tuple[float, float]:
        """Cross-section pi/4 d1 d2, and its standard uncertainty."""
        wide, narrow = self.diameters_mm()
        return pi / 4 * wide * narrow, pi / 2 * self.diameter_mm * self.diameter_u_mm

    def mass_per_metre_g(self) -> tuple[float, float] | None:
        """Mass of a metre in g and its standard uncertainty; None without a density (JCGM 100, 5.2.2)."""
        if self.density_g_cm3 is None:
            return None
        wide, narrow = self.diameters_mm()
        metre_g = strand_mass_g(1000, self.density_g_cm3, wide, narrow)
        by_diameter = metre_g * 2 * self.diameter_mm / (wide * narrow)
        by_density = metre_g / self.density_g_cm3
        variance = (
            (by_diameter * self.diameter_u_mm) ** 2
            + (by_density * self.density_u_g_cm3) ** 2
            + 2 * by_diameter * by_density * self.covariance(DIAMETER, DENSITY)
        )
        return metre_g, sqrt(max(variance, 0.0))


def cholesky(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """The lower triangle L with L L' = matrix, of a correlation matrix.

    A direction that the others already say gets a column of zeros. Raises ValueError where no figures can be
    correlated like that.
    """
    size = len(matrix)
    lower = [[0.0] * size for _ in range(size)]
    for row in range(size):
        for column in range(row + 1):
            rest = matrix[row][column] - sum(lower[row][at] * lower[column][at] for at in range(column))
            if row == column:
                if rest < -1e-6:
                    raise ValueError("these correlations contradict one another")
                lower[row][row] = sqrt(max(rest, 0.0))
            else:
                lower[row][column] = rest / lower[column][column] if lower[column][column] > 1e-9 else 0.0
    return lower


def correlation_matrix(correlations: Correlations) -> list[list[float]]:
    """The whole matrix, in the order of FIGURES."""
    with_rise, with_density, of_others = correlations
    return [[1.0, with_rise, with_density], [with_rise, 1.0, of_others], [with_density, of_others, 1.0]]
