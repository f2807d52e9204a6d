"""Does the pay-off spool hold enough strand, and what is left on it afterwards?"""

from __future__ import annotations

from math import pi, sqrt
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import frozen

from reelwright.winding.findings import judge
from reelwright.winding.fit import spool_volume_mm3
from reelwright.winding.uncertainty import COVERAGE, StrandInputs, estimate_of, uncertain

if TYPE_CHECKING:
    from reelwright.winding.findings import Finding
    from reelwright.winding.job import PayOff, Strand
    from reelwright.winding.uncertainty import Estimate

SCALE_U_G = 1.0  # of a weighing: a kitchen scale that shows whole grams, and its zero
# Empty 1 kg spools weigh 140 to 250 g (10-90 % of open material data): the middle, evenly either way.
UNKNOWN_TARE_G = 195.0
UNKNOWN_TARE_HALF_G = 55.0
WOUND_DIAMETER_U_MM = 1.0  # a rule laid across an uneven outer layer
# Share of the wound space that is strand. From square packing with the traverse allowance of the cable trade,
# pi/4 x 0.95 (NEMA reel capacity method, second hand), to hexagonal packing, pi/sqrt(12): the middle, evenly.
_LOOSEST = pi / 4 * 0.95
_TIGHTEST = pi / sqrt(12)
PACKING = (_LOOSEST + _TIGHTEST) / 2
PACKING_U = (_TIGHTEST - _LOOSEST) / 2 / sqrt(3)


class Drawn(NamedTuple):
    """The length in mm that a wind takes, and its strand: an error of the strand acts on what was held and on this."""

    strand: StrandInputs
    length_mm: Any


class Left(NamedTuple):
    """What stays on the pay-off spool: strand in m and g, and the diameter that it then shows. None: not known."""

    length_m: Estimate
    mass_g: Estimate | None
    diameter_mm: Estimate | None


@frozen
class SourceCheck:
    """What the pay-off spool holds, and whether that is enough. Lengths in metres, u standard.

    left_u_m: of what stays, or is missing: the wind is unsure of what it takes, as the spool is of what it holds.
    """

    method: str  # "mass", "wound diameter" or "known length"
    held_m: float
    held_u_m: float
    needed_m: float
    left: Left
    left_u_m: float
    unknown_tare_m: float = 0.0  # half the range that an unknown empty mass alone opens; 0 where it is known

    @property
    def least_m(self) -> float:
        """What the spool surely has for this wind: the lower end of the 95 % interval, with the wind's own in it."""
        return _micrometre(self.held_m - COVERAGE * self.left_u_m)

    @property
    def most_m(self) -> float:
        """What it may have for it at most, likewise."""
        return _micrometre(self.held_m + COVERAGE * self.left_u_m)

    @property
    def surely_short(self) -> bool:
        """Even the upper end of the 95 % interval is less than needed."""
        return self.most_m < _micrometre(self.needed_m)

    @property
    def surely_enough(self) -> bool:
        """Even the lower end of the 95 % interval is enough."""
        return self.least_m >= _micrometre(self.needed_m)

    @property
    def verdict(self) -> str:
        """ "enough", "short", or "doubtful" where the interval holds the need."""
        if self.surely_enough:
            return "enough"
        return "short" if self.surely_short else "doubtful"


def check_source(pay_off: PayOff, strand: Strand, needed_m: float, drawn: Drawn | None = None) -> SourceCheck | None:
    """Compare the pay-off spool with the need; by its length where it is known, else by mass, else by wound diameter.

    drawn: what the wind takes, by default needed_m exactly. None where the job says too little of the spool.
    """
    inputs, drawn_mm = drawn or Drawn(StrandInputs.of(strand), 1000 * needed_m)
    packing = uncertain(PACKING, PACKING_U, "packing")
    wound, barrel, width = pay_off.wound_diameter_mm, pay_off.barrel_diameter_mm, pay_off.inside_width_mm
    held_mm: Any
    if pay_off.held_m is not None and pay_off.held_u_m is not None:
        method = "known length"
        held_mm = 1000 * uncertain(pay_off.held_m, pay_off.held_u_m, "known length")
    elif pay_off.gross_mass_g is not None and strand.density_g_cm3 is not None:
        method = "mass"
        held_mm = _net_mass_g(pay_off.gross_mass_g, pay_off.empty_mass_g) / inputs.mass_g(1.0)
    elif wound is not None and barrel is not None and width is not None:
        method = "wound diameter"
        held_mm = packing * _wound_mm3(wound, barrel, width) / inputs.section_mm2
    else:
        return None
    held = estimate_of(held_mm / 1000)
    unknown_g = UNKNOWN_TARE_HALF_G if method == "mass" and pay_off.empty_mass_g is None else 0.0
    return SourceCheck(
        method=method,
        held_m=held.value,
        held_u_m=held.u,
        needed_m=needed_m,
        left=_left(pay_off, inputs, packing, held_mm - drawn_mm),
        left_u_m=estimate_of((held_mm - drawn_mm) / 1000).u,
        unknown_tare_m=unknown_g / estimate_of(inputs.mass_g(1000.0)).value if unknown_g else 0.0,
    )


def source_findings(check: SourceCheck) -> list[Finding]:
    """What the person should know of the pay-off spool."""
    needed_m = _micrometre(check.needed_m)

    def held(_limit: float) -> str:
        held = f"It holds {check.held_m:.1f} m ± {COVERAGE * check.held_u_m:.1f} m by {check.method}"
        return f"{held}; what the wind leaves of it is sure to ± {COVERAGE * check.left_u_m:.1f} m."

    def taken(_limit: float) -> str:
        mass = f"{UNKNOWN_TARE_G:g} ± {UNKNOWN_TARE_HALF_G:g} g"
        return f"It is taken as {mass}, which alone makes ± {check.unknown_tare_m:.0f} m."

    return [
        *(
            judge("source_short", check.most_m, needed_m, more=held)
            or judge("source_doubtful", check.least_m, needed_m, more=held)
        ),
        *judge("tare_unknown", check.unknown_tare_m, 0.0, more=taken),
    ]


def _micrometre(length_m: float) -> float:
    """A length without the rounding of sums, which would make 33.2 m too short for 45.3 m less 12.1 m."""
    return round(length_m, 6)


def _net_mass_g(gross_g: float, empty_g: float | None) -> Any:
    """Mass of the strand on the spool; never below nothing."""
    if empty_g is None:
        tare = uncertain(UNKNOWN_TARE_G, UNKNOWN_TARE_HALF_G / sqrt(3), "empty spool")
    else:
        tare = uncertain(empty_g, SCALE_U_G, "empty spool")
    return _not_negative(gross_g + uncertain(0, SCALE_U_G, "scale") - tare)


def _wound_mm3(wound_mm: float, barrel_mm: float, width_mm: float) -> Any:
    """Volume between the barrel and the wound diameter."""
    rim_mm = uncertain(wound_mm, WOUND_DIAMETER_U_MM, "wound diameter")
    return spool_volume_mm3(rim_mm, barrel_mm, width_mm)


def _left(pay_off: PayOff, strand: StrandInputs, packing: Any, left_mm: Any) -> Left:
    left_mm = _not_negative(left_mm)
    mass_g = strand.mass_g(left_mm)
    barrel_mm, width_mm = pay_off.barrel_diameter_mm, pay_off.inside_width_mm
    diameter = None
    if barrel_mm is not None and width_mm is not None:
        # the wound volume solved for its outer diameter: D^2 = B^2 + 4 V / (pi W)
        wound_mm3 = left_mm * strand.section_mm2 / packing
        diameter = estimate_of((barrel_mm * barrel_mm + 4 / pi * wound_mm3 / width_mm) ** 0.5)
    return Left(estimate_of(left_mm / 1000), None if mass_g is None else estimate_of(mass_g), diameter)


def _not_negative(quantity: Any) -> Any:
    """The quantity, or nothing as unsure as it."""
    from uncertainties import nominal_value

    return quantity - min(nominal_value(quantity), 0.0)
