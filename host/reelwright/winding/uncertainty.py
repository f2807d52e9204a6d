"""How sure a length and a mass are: the law of propagation of uncertainty (JCGM 100, 5.1.2).

Every u is a standard uncertainty. The length is a function of barrel diameter B, strand diameter d, rise
factor f, counted turns and the uncounted ends; the mass of density, d and that length, so that an error of d
acts on both at once, as it does on the bench.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

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
    diameter, by_radius, by_rise = spread.diameter_mm, *coil.sensitivities(turns)
    length_mm = coil.length_mm(turns) - ends_mm
    # each part is the partial derivative times the input's standard uncertainty, in mm of strand;
    # the inner radius is (B + d)/2 and the rise f d
    parts = {
        "barrel diameter": by_radius / 2 * spread.barrel_u_mm,
        "strand diameter": (by_radius / 2 + by_rise * spread.rise) * spread.diameter_u_mm,
        "rise factor": by_rise * diameter * spread.rise_u,
        "count": coil.turn_length_at_mm(turns) * half_pulse_u(pulses_per_turn),
        "leader and tail": END_U_MM * sqrt(spread.ends),
    }
    length = propagated(length_mm, parts)
    if spread.density_g_cm3 is None:
        return length, None
    mm_g = mass_per_mm_g(spread.density_g_cm3, diameter)
    mass_g = length_mm * mm_g
    mass_parts = {name: mm_g * part for name, part in parts.items()}
    mass_parts["strand diameter"] += 2 * mass_g / diameter * spread.diameter_u_mm
    mass_parts["density"] = mass_g / spread.density_g_cm3 * spread.density_u_g_cm3
    return length, propagated(mass_g, mass_parts)


def propagated(value: float, parts: Mapping[str, float]) -> Estimate:
    """The estimate of a value from its parts: partial derivative times standard uncertainty of each input.

    u^2 is the sum of the squares, for inputs that do not depend on one another (JCGM 100, 5.1.2).
    """
    variance = sum(part * part for part in parts.values())
    shares = {name: part * part / variance for name, part in parts.items() if part} if variance else {}
    return Estimate(value, sqrt(variance), shares)
