"""Bought parts that printed ones must fit: dimensions in mm by ISO 15 (bearings), ISO 261 and ISO 273 (screws)."""

from __future__ import annotations

from attrs import frozen


@frozen
class Bearing:
    """A deep groove ball bearing."""

    bore_mm: float
    outside_mm: float
    width_mm: float


@frozen
class MetricScrew:
    """A screw with metric coarse thread. clearance_mm: hole that it passes through, medium fit. tapping_mm: before the
    tap, or for a screw that cuts its own thread in plastic.
    """

    thread_mm: float
    pitch_mm: float
    clearance_mm: float
    tapping_mm: float


BEARINGS = {"608": Bearing(8, 22, 7), "6202": Bearing(15, 35, 11)}

SCREWS = {
    "M3": MetricScrew(3, 0.5, 3.4, 2.5),
    "M4": MetricScrew(4, 0.7, 4.5, 3.3),
    "M5": MetricScrew(5, 0.8, 5.5, 4.2),
}
