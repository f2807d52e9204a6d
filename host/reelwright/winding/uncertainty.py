"""How sure a length and a mass are: the law of propagation of uncertainty (JCGM 100, 5.1.2).

Every u is a standard uncertainty. The length is a function of barrel diameter B, strand diameter d, rise
factor f, counted turns and the uncounted ends; the mass of density, d and that length, so that an error of d
acts on both at once, as it does on the bench. The `uncertainties` package propagates, and knows each input by its
name wherever it enters.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any

from attrs import field, frozen

from reelwright.winding.calibration_figures import cholesky, correlation_matrix
from reelwright.winding.mass import section_mass_g_mm, section_mm2

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reelwright.winding.coil import Coil
    from reelwright.winding.job import Calibration, Job, Strand

COVERAGE = 2  # of the expanded uncertainty: about 95 % (JCGM 100, 6.2.1)

# Standard uncertainty of a leader or tail measured off by hand: a mark within 17 mm, evenly.
END_U_MM = 10.0

# Each input, and what makes it surer.
MENDS = {
    "strand diameter": "measure the strand with a micrometer at several places (`reelwright calibrate diameter`)",
    "barrel diameter": "measure the barrel with a caliper, and set take_up.barrel_diameter_mm and "
    "take_up.barrel_diameter_u_mm",
    "rise factor": "measure the outer diameter of a finished wind (`reelwright calibrate layers`)",
    "count": "fit a sensor with more pulses in a turn of the spool",
    "leader and tail": "measure their marks off with a tape, or wind without them",
    "density": "weigh a wound spool (`reelwright calibrate weight`)",
}
MEASURED_MEND = "measure it better than its calibration did, or more often"
# Inputs that a calibration may have measured, as it calls them.
_CALIBRATED = {"strand diameter": "diameter", "rise factor": "rise", "density": "density"}


@frozen
class Estimate:
    """A value, its standard uncertainty u, and the share of each input in the variance (shares add up to 1)."""

    value: float
    u: float
    shares: Mapping[str, float] = field(factory=dict)

    @property
    def expanded_u(self) -> float:
        """Half the width of the interval that holds the true value in about 95 % of cases."""
        return COVERAGE * self.u

    @property
    def dominant(self) -> str:
        """The input with the largest share; "" where nothing is uncertain."""
        return max(self.shares, key=lambda name: self.shares[name], default="")

    def reason(self, noun: str, calibration: Calibration | None = None) -> str:
        """A sentence on the input that dominates, and what to do about it; "" where nothing is uncertain.

        noun: what the estimate is of, such as "length". calibration: what has been measured already.
        """
        name = self.dominant
        if not name:
            return ""
        measured = calibration is not None and _CALIBRATED.get(name) in calibration.found
        advice = MEASURED_MEND if measured else MENDS.get(name)
        mend = f"; to know the {noun} better, {advice}" if advice else ""
        return f"The {name} gives {self.shares[name]:.0%} of the {noun}'s uncertainty (of its variance){mend}."


@frozen
class StrandErrors:
    """The errors of diameter, rise factor and density as quantities about 0, correlated as they were found.

    Each is made of independent ones (JCGM 100, 5.2.2): the diameter's own, what the rise has besides, and what
    the density has besides. A share of a variance is that of such a part.
    """

    diameter_mm: Any
    rise: Any
    density_g_cm3: Any

    @classmethod
    def of(cls, strand: Strand, rise_u: float = 0.0, calibration: Calibration | None = None) -> StrandErrors:
        """The errors of this strand, and of its rise factor."""
        u = (strand.diameter_u_mm, rise_u, strand.known_density_u_g_cm3)
        names = ("strand diameter", "rise factor", "density")
        parts = [uncertain(0.0, 1.0, name) for name in names]
        rows = cholesky(correlation_matrix((0.0, 0.0, 0.0) if calibration is None else calibration.correlations))
        return cls(
            *(
                each_u * sum(weight * part for weight, part in zip(row, parts, strict=True))
                for each_u, row in zip(u, rows, strict=True)
            )
        )


@frozen
class StrandInputs:
    """The strand's uncertain quantities: mean diameter and section; density in g/cm3, or None."""

    diameter_mm: Any
    section_mm2: Any
    density_g_cm3: Any

    @classmethod
    def of(cls, strand: Strand, errors: StrandErrors | None = None) -> StrandInputs:
        """The quantities of this strand. errors: by default independent ones.

        One error shifts both diameters of oval strand alike. An error of their difference is left out: the section is
        pi/4 (m^2 - (d1 - d2)^2 / 4) with the mean m, and owes it (d1 - d2) / 4m of what it owes to one of m.
        """
        errors = errors or StrandErrors.of(strand)
        diameter = strand.mean_diameter_mm + errors.diameter_mm
        half_apart_mm = strand.diameter_mm - strand.mean_diameter_mm
        density = strand.density_g_cm3
        return cls(
            diameter_mm=diameter,
            section_mm2=section_mm2(diameter + half_apart_mm, diameter - half_apart_mm),
            density_g_cm3=None if density is None else density + errors.density_g_cm3,
        )

    def mass_g(self, length_mm: Any) -> Any:
        """Mass of this length; None where the density is not known."""
        density = self.density_g_cm3
        return None if density is None else section_mass_g_mm(density, self.section_mm2) * length_mm


@frozen
class Inputs:
    """The uncertain quantities of a wind. Errors are quantities about 0: in mm, and in turns of the count."""

    strand: StrandInputs
    rise: float
    barrel_error_mm: Any
    rise_error: Any
    count_error_turns: Any
    ends_error_mm: Any

    @classmethod
    def of(cls, job: Job, rise: float, rise_u: float) -> Inputs:
        """The quantities of this job, with the rise factor that it comes to."""
        ends = (job.target.leader_m > 0) + (job.target.tail_m > 0)
        errors = StrandErrors.of(job.strand, rise_u, job.calibration)
        return cls(
            strand=StrandInputs.of(job.strand, errors),
            rise=rise,
            barrel_error_mm=uncertain(0.0, job.take_up.barrel_diameter_u_mm, "barrel diameter"),
            rise_error=errors.rise,
            count_error_turns=uncertain(0.0, half_pulse_u(float(job.machine.pulses_per_spool_turn)), "count"),
            ends_error_mm=uncertain(0.0, END_U_MM * sqrt(ends), "leader and tail"),
        )

    def wound_mm(self, coil: Coil, turns: float) -> Any:
        """Length of all strand in these turns.

        The inner radius is (B + d)/2 and the rise f d; the coil knows what the length owes to each.
        """
        by_radius, by_rise = coil.sensitivities(turns)
        diameter = self.strand.diameter_mm
        nominal_mm = coil.rise_mm / self.rise
        diameter_error = diameter - nominal_mm
        return (
            coil.length_mm(turns)
            + by_radius * (self.barrel_error_mm + diameter_error) / 2
            + by_rise * (self.rise * diameter_error + nominal_mm * self.rise_error)
            + coil.turn_length_at_mm(turns) * self.count_error_turns
        )

    def outer_mm(self, coil: Coil, level: int) -> Any:
        """Diameter over the strand at this level, B + 2 d + 2 level f d."""
        barrel_mm = 2 * coil.inner_radius_mm - coil.rise_mm / self.rise + self.barrel_error_mm
        return barrel_mm + 2 * self.strand.diameter_mm * (1 + level * (self.rise + self.rise_error))

    def length_and_mass(
        self, coil: Coil, turns: float, ends_mm: float, uncertain_turns: float = 0.0
    ) -> tuple[Estimate, Estimate | None]:
        """Counted length in mm, and its mass in g where the density is known, after these turns.

        ends_mm: leader and tail, wound and not counted. uncertain_turns: half the width of what restarts of the winder
        have left unknown of its count, evenly spread (JCGM 100, 4.3.7).
        """
        wound_mm = self.wound_mm(coil, turns)
        error_turns = uncertain(0.0, uncertain_turns / sqrt(3), "restarts")
        wound_mm = wound_mm + coil.turn_length_at_mm(turns) * error_turns
        return self.counted(wound_mm, ends_mm)

    def counted(self, wound_mm: Any, ends_mm: float) -> tuple[Estimate, Estimate | None]:
        """As length_and_mass, of strand wound."""
        length_mm = wound_mm - ends_mm - self.ends_error_mm
        mass_g = self.strand.mass_g(length_mm)
        return estimate_of(length_mm), None if mass_g is None else estimate_of(mass_g)


def half_pulse_u(pulses_per_turn: float) -> float:
    """Standard uncertainty in turns of a count: half a pulse.

    A target is rounded to a pulse, the sensor starts anywhere in a pulse, and the spool comes to rest anywhere in one:
    three even spreads of a pulse's width, 1/sqrt(12) each (JCGM 100, 4.3.7), together 1/2.
    """
    return 1 / (2 * pulses_per_turn)


def estimate_of(quantity: Any) -> Estimate:
    """The estimate that a quantity of the `uncertainties` package stands for: it propagates by JCGM 100, 5.1.2."""
    from uncertainties import nominal_value, std_dev

    u = float(std_dev(quantity))
    parts = {each.tag: part for each, part in quantity.error_components().items()} if u else {}
    return Estimate(float(nominal_value(quantity)), u, {name: (part / u) ** 2 for name, part in parts.items() if part})


def uncertain(value: float, u: float, name: str) -> Any:
    """An input under its name; a plain number where nothing is uncertain of it."""
    from uncertainties import ufloat

    return ufloat(value, u, name) if u else value
