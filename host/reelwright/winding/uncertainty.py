"""How sure a length and a mass are: the law of propagation of uncertainty (JCGM 100, 5.1.2).

Every u is a standard uncertainty. The length is a function of barrel diameter B, strand diameter d, rise
factor f, counted turns and the uncounted ends; the mass of density, d and that length, so that an error of d
acts on both at once, as it does on the bench.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import field, frozen

from reelwright.winding.mass import mass_per_mm_g

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reelwright.winding.coil import Coil

COVERAGE = 2  # of the expanded uncertainty: about 95 % (JCGM 100, 6.2.1)

# Standard uncertainty of a leader or tail measured off by hand: a mark within 17 mm, evenly.
END_U_MM = 10.0


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


class Spread(NamedTuple):
    """What is known of the inputs. Lengths in mm, density in g/cm3 or None; count_u_turns is of the counted turns."""

    diameter_mm: float
    diameter_u_mm: float
    barrel_u_mm: float
    rise: float
    rise_u: float
    ends: int  # how many of leader and tail there are
    density_g_cm3: float | None
    density_u_g_cm3: float


def half_pulse_u(pulses_per_turn: float) -> float:
    """Standard uncertainty in turns of a count: half a pulse either way, evenly (JCGM 100, 4.3.7)."""
    return 1 / (2 * sqrt(3) * pulses_per_turn)


def length_and_mass(
    coil: Coil, turns: float, ends_mm: float, pulses_per_turn: float, spread: Spread
) -> tuple[Estimate, Estimate | None]:
    """Counted length in mm, and its mass in g where the density is known, after these turns.

    ends_mm: leader and tail, wound and not counted.
    """
    by_radius, by_rise = coil.sensitivities(turns)
    diameter = _input(spread.diameter_mm, spread.diameter_u_mm, "strand diameter")
    barrel_error = _input(0.0, spread.barrel_u_mm, "barrel diameter")
    rise_error = _input(0.0, spread.rise_u, "rise factor")
    count_error = _input(0.0, half_pulse_u(pulses_per_turn), "count")
    ends_error = _input(0.0, END_U_MM * sqrt(spread.ends), "leader and tail")
    diameter_error = diameter - spread.diameter_mm
    # the inner radius is (B + d)/2 and the rise f d; the coil knows what the length owes to each
    length_mm = (
        coil.length_mm(turns)
        - ends_mm
        + by_radius * (barrel_error + diameter_error) / 2
        + by_rise * (spread.rise * diameter_error + spread.diameter_mm * rise_error)
        + coil.turn_length_at_mm(turns) * count_error
        - ends_error
    )
    if spread.density_g_cm3 is None:
        return estimate_of(length_mm), None
    density = _input(spread.density_g_cm3, spread.density_u_g_cm3, "density")
    return estimate_of(length_mm), estimate_of(mass_per_mm_g(density, diameter) * length_mm)


def estimate_of(quantity: Any) -> Estimate:
    """The estimate that a quantity of the `uncertainties` package stands for: it propagates by JCGM 100, 5.1.2."""
    from uncertainties import nominal_value, std_dev

    u = float(std_dev(quantity))
    parts = {each.tag or "": part for each, part in quantity.error_components().items()} if u else {}
    return Estimate(float(nominal_value(quantity)), u, {name: (part / u) ** 2 for name, part in parts.items() if part})


def _input(value: float, u: float, name: str) -> Any:
    """An input under its name; a plain number where nothing is uncertain of it."""
    from uncertainties import ufloat

    return ufloat(value, u, name) if u else value
