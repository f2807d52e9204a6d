"""Speed, torque and time of a wind."""

from __future__ import annotations

from math import sqrt

from attrs import frozen

# The last approach to a stop, in spool turns at creep speed. Long enough for the speed loop to settle from
# its ramp, short enough to cost two seconds a stop at the usual creep speed.
CREEP_TURNS = 0.2


def line_speed_m_s(rpm: float, turn_length_mm: float) -> float:
    """Speed of the strand at these spool revolutions per minute."""
    return rpm / 60 * turn_length_mm / 1000


def spool_rpm(speed_m_s: float, turn_length_mm: float) -> float:
    """Spool revolutions per minute that draw the strand at this speed; the inverse of line_speed_m_s."""
    return speed_m_s * 1000 / turn_length_mm * 60


def torque_n_m(tension_n: float, radius_mm: float) -> float:
    """Torque at the spool that holds this tension of the strand at this radius."""
    return tension_n * radius_mm / 1000


def turns_to_stop(rpm: float, deceleration_rpm_s: float) -> float:
    """Turns from this speed to rest: v^2 / 2a, with v in turns per second."""
    turns_s = rpm / 60
    return turns_s * turns_s / (2 * deceleration_rpm_s / 60)


def peak_speed(distance: float, acceleration: float, deceleration: float) -> float:
    """Highest speed of a move from rest to rest that never cruises: sqrt(2 a b D / (a + b)). Any one set of units."""
    return sqrt(2 * acceleration * deceleration * distance / (acceleration + deceleration))


@frozen
class Ramp:
    """How a powered drive goes from stop to stop: gain speed, cruise, slow down to creep, creep, rest.

    All rpm are of the take-up spool. acceleration_rpm_s serves both ways. creep_turns: length of the last
    approach.
    """

    cruise_rpm: float
    creep_rpm: float
    acceleration_rpm_s: float
    creep_turns: float = CREEP_TURNS

    def seconds(self, turns: float, start_rpm: float = 0.0) -> float:
        """Time for this many turns to the next stop, starting at start_rpm.

        The few thousandths of a turn from creep to rest are counted as creep.
        """
        if turns <= 0:
            return 0.0
        creep = self.creep_rpm / 60
        approach_turns = turns - self.creep_turns
        if approach_turns <= 0:
            return turns / creep
        return self._approach_seconds(approach_turns, start_rpm / 60) + self.creep_turns / creep

    def _approach_seconds(self, turns: float, start: float) -> float:
        """From `start` turns a second to creep speed over this many turns: a trapezoid, or a triangle."""
        cruise, creep, gain = self.cruise_rpm / 60, self.creep_rpm / 60, self.acceleration_rpm_s / 60
        start = min(start, cruise)
        peak = min(cruise, sqrt(gain * turns + (start * start + creep * creep) / 2))
        if peak < max(start, creep):
            # too near the stop for a ramp both ways: one even change of speed, as far as it goes
            return 2 * turns / (start + creep)
        ramps = (2 * peak * peak - start * start - creep * creep) / (2 * gain)
        return (2 * peak - start - creep) / gain + (turns - ramps) / peak
