"""Does the pay-off spool hold enough strand?"""

from __future__ import annotations

from math import hypot, pi, sqrt
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.winding.findings import Finding
from reelwright.winding.fit import spool_volume_mm3
from reelwright.winding.mass import mass_per_mm_g
from reelwright.winding.uncertainty import COVERAGE

if TYPE_CHECKING:
    from reelwright.winding.job import PayOff, Strand

SCALE_U_G = 1.0  # a kitchen scale that shows whole grams, and its zero
WEIGHED_TARE_U_G = 1.0  # an empty spool weighed on the same
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


@frozen
class SourceCheck:
    """What the pay-off spool holds, and whether that is enough. Lengths in metres, held_u_m standard."""

    method: str  # "mass", "wound diameter" or "known length"
    held_m: float
    held_u_m: float
    needed_m: float
    unknown_tare_m: float = 0.0  # half the range that an unknown empty mass alone opens; 0 where it is known

    @property
    def surely_short(self) -> bool:
        """Even the upper end of the 95 % interval is less than needed."""
        return _micrometre(self.held_m + COVERAGE * self.held_u_m) < _micrometre(self.needed_m)

    @property
    def surely_enough(self) -> bool:
        """Even the lower end of the 95 % interval is enough."""
        return _micrometre(self.held_m - COVERAGE * self.held_u_m) >= _micrometre(self.needed_m)

    @property
    def verdict(self) -> str:
        """ "enough", "short", or "doubtful" where the interval holds the need."""
        if self.surely_enough:
            return "enough"
        return "short" if self.surely_short else "doubtful"


def check_source(pay_off: PayOff, strand: Strand, needed_m: float) -> SourceCheck | None:
    """Compare the pay-off spool with the need; by its length where it is known, else by mass, else by wound diameter.

    None where the job gives none of them in full.
    """
    if pay_off.held_m is not None and pay_off.held_u_m is not None:
        return SourceCheck("known length", pay_off.held_m, pay_off.held_u_m, needed_m)
    if pay_off.gross_mass_g is not None and strand.density_g_cm3 is not None:
        return _by_mass(pay_off.gross_mass_g, pay_off.empty_mass_g, strand, strand.density_g_cm3, needed_m)
    wound, barrel, width = pay_off.wound_diameter_mm, pay_off.barrel_diameter_mm, pay_off.inside_width_mm
    if wound is not None and barrel is not None and width is not None:
        return _by_diameter(wound, barrel, width, strand, needed_m)
    return None


def source_findings(check: SourceCheck) -> list[Finding]:
    """What the person should know of the pay-off spool."""
    held = f"{check.held_m:.1f} m ± {COVERAGE * check.held_u_m:.1f} m by {check.method}"
    found = []
    if check.verdict == "short":
        found.append(
            Finding(
                "source_short",
                f"The pay-off spool holds {held}; {check.needed_m:.1f} m are needed. "
                "Wind less, or take a fuller spool.",
                blocks=True,
            )
        )
    elif check.verdict == "doubtful":
        found.append(
            Finding(
                "source_doubtful",
                f"The pay-off spool holds {held}; {check.needed_m:.1f} m are needed, so it may run out. "
                "Weigh it and an empty one like it, or be ready for a run-out.",
            )
        )
    if check.unknown_tare_m:
        found.append(
            Finding(
                "tare_unknown",
                f"The empty mass of the pay-off spool is not known; {UNKNOWN_TARE_G:g} ± {UNKNOWN_TARE_HALF_G:g} g "
                f"are taken, which alone makes ± {check.unknown_tare_m:.0f} m. Weigh an empty spool of the same kind "
                "and set pay_off.empty_mass_g.",
            )
        )
    return found


def _micrometre(length_m: float) -> float:
    """A length without the rounding of sums, which would make 33.2 m too short for 45.3 m less 12.1 m."""
    return round(length_m, 6)


def _by_mass(gross_g: float, empty_g: float | None, strand: Strand, density: float, needed_m: float) -> SourceCheck:
    tare_g, tare_u_g = (
        (UNKNOWN_TARE_G, UNKNOWN_TARE_HALF_G / sqrt(3)) if empty_g is None else (empty_g, WEIGHED_TARE_U_G)
    )
    metre_g = 1000 * mass_per_mm_g(density, strand.diameter_mm)
    held_m = max(gross_g - tare_g, 0.0) / metre_g
    weighing_u_m = hypot(SCALE_U_G, tare_u_g) / metre_g
    # product of powers, JCGM 100, 5.1.6: length is net / (density d^2)
    relative = hypot(strand.known_density_u_g_cm3 / density, 2 * strand.diameter_u_mm / strand.diameter_mm)
    held_u_m = hypot(weighing_u_m, held_m * relative)
    return SourceCheck("mass", held_m, held_u_m, needed_m, UNKNOWN_TARE_HALF_G / metre_g if empty_g is None else 0.0)


def _by_diameter(wound_mm: float, barrel_mm: float, width_mm: float, strand: Strand, needed_m: float) -> SourceCheck:
    section = pi / 4 * strand.diameter_mm**2
    held_m = PACKING * spool_volume_mm3(wound_mm, barrel_mm, width_mm) / section / 1000
    rim_u_m = PACKING * pi / 2 * wound_mm * width_mm * WOUND_DIAMETER_U_MM / section / 1000
    relative = hypot(PACKING_U / PACKING, 2 * strand.diameter_u_mm / strand.diameter_mm)
    return SourceCheck("wound diameter", held_m, hypot(rim_u_m, held_m * relative), needed_m)
