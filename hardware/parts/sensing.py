"""Marks on a turning disc against the sensor that reads them: how far apart they pass, and how soon.

A mark is a slot or a magnet, each with as much gap as mark, so an edge comes every half of the marks' pitch.
"""

from __future__ import annotations

from math import pi

# An edge spacing of twice the aperture lets the signal settle fully between edges: common practice. At once the
# aperture the light would just reach its full and its least value.
LEAST_APERTURES = 2.0


def edge_spacing_mm(track_diameter_mm: float, marks: int) -> float:
    """Length of a mark, and of a gap, on the circle that the sensor reads: pi D / (2 marks)."""
    return pi * track_diameter_mm / (2 * marks)


def edge_interval_us(marks: int, rpm: float) -> float:
    """Least time between two edges of one channel at that speed. 1e6 us * 60 s / (2 marks rpm)."""
    return 60e6 / (2 * marks * rpm)


def pulses_per_second(marks: int, rpm: float) -> float:
    """Pulses of one channel, rising edges only: rpm / 60 x marks."""
    return rpm / 60 * marks


def most_marks(track_diameter_mm: float, aperture_mm: float) -> int:
    """The most marks that a sensor of that aperture tells apart with room to spare."""
    return int(pi * track_diameter_mm / (2 * LEAST_APERTURES * aperture_mm))


def second_channel_deg(marks: int, *, whole_pitches: int) -> float:
    """Angle of a second sensor from the first for two channels a quarter apart: (n + 1/4) pitches."""
    return 360.0 / marks * (whole_pitches + 0.25)
