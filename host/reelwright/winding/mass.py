"""Mass of strand from its length, and back."""

from __future__ import annotations

from math import pi

_G_PER_MM3 = 1e-3  # of a density of 1 g/cm3


def section_mm2(diameter_mm: float, second_diameter_mm: float | None = None) -> float:
    """Cross-section of round strand, or of oval strand from its two diameters: pi/4 d1 d2."""
    return pi / 4 * diameter_mm * (diameter_mm if second_diameter_mm is None else second_diameter_mm)


def mass_per_mm_g(density_g_cm3: float, diameter_mm: float, second_diameter_mm: float | None = None) -> float:
    """Mass of one millimetre of strand."""
    return section_mass_g_mm(density_g_cm3, section_mm2(diameter_mm, second_diameter_mm))


def section_mass_g_mm(density_g_cm3: float, section_mm2: float) -> float:
    """Mass of one millimetre of anything with this section."""
    return density_g_cm3 * _G_PER_MM3 * section_mm2


def strand_mass_g(
    length_mm: float, density_g_cm3: float, diameter_mm: float, second_diameter_mm: float | None = None
) -> float:
    """Mass of a length of strand: density times section times length."""
    return length_mm * mass_per_mm_g(density_g_cm3, diameter_mm, second_diameter_mm)


def strand_length_mm(
    mass_g: float, density_g_cm3: float, diameter_mm: float, second_diameter_mm: float | None = None
) -> float:
    """Length of a mass of strand."""
    return mass_g / mass_per_mm_g(density_g_cm3, diameter_mm, second_diameter_mm)
