"""Speed, torque and time of a wind."""

from __future__ import annotations

from math import exp, radians, sqrt

from attrs import frozen

# The last approach to a stop: slow enough that a pulse period is many control steps of the winder, so that the spool
# rests within the pulse; with few pulses a turn, not so slow that it takes for ever; and a second long, so that
# the speed loop settles from its ramp. Tried on the simulated winder from 1 to 600 pulses a turn.
FASTEST_CREEP_PULSES_S = 10
SLOWEST_CREEP_PULSES_S = 1
CREEP_S = 1.0


def line_speed_m_s(rpm: float, turn_length_mm: float) -> float:
    """Speed of the strand at these spool revolutions per minute."""
    return rpm / 60 * turn_length_mm / 1000


def spool_rpm(speed_m_s: float, turn_length_mm: float) -> float:
    """Spool revolutions per minute that draw the strand at this speed; the inverse of line_speed_m_s."""
    return speed_m_s * 1000 / turn_length_mm * 60


def torque_n_m(tension_n: float, radius_mm: float) -> float:
    """Torque at the spool that holds this tension of the strand at this radius."""
    return tension_n * radius_mm / 1000


def guided_tension_n(tension_n: float, friction: float, wrap_deg: float) -> float:
    """Tension behind a fixed guide that the strand bends round by this angle: T2 = T1 e^(mu theta).

    friction: mu, a plain ratio. Source: the capstan equation, textbooks of mechanics.
    """
    return tension_n * exp(friction * radians(wrap_deg))


def ring_inertia_kg_m2(mass_g: float, inner_radius_mm: float, outer_radius_mm: float) -> float:
    """Of a ring about its axis: m (R^2 + r^2) / 2, textbooks of mechanics."""
    return mass_g / 1000 * (outer_radius_mm**2 + inner_radius_mm**2) / 2 / 1e6


def stopping_turns(rpm: float, deceleration_rpm_s: float) -> float:
    """Turns from this speed to rest at this even deceleration: v^2 / 2a."""
    return (rpm / 60) ** 2 / (2 * deceleration_rpm_s / 60)


@frozen
class Ramp:
    """How a powered drive goes from stop to stop: gain speed, cruise, slow down to creep, creep, rest.

    All rpm are of the take-up spool. creep_turns: length of the last approach.
    """

    cruise_rpm: float
    creep_rpm: float
    acceleration_rpm_s: float
    deceleration_rpm_s: float
    creep_turns: float

    @classmethod
    def for_sensor(
        cls,
        cruise_rpm: float,
        creep_rpm: float,
        acceleration_rpm_s: float,
        deceleration_rpm_s: float,
        pulses_per_turn: float,
    ) -> Ramp:
        """The ramp of a drive whose sensor gives so many pulses a spool turn; its creep may differ from the wish."""
        wished_rpm = min(creep_rpm, FASTEST_CREEP_PULSES_S * 60 / pulses_per_turn)
        least_rpm = min(cruise_rpm / 3, SLOWEST_CREEP_PULSES_S * 60 / pulses_per_turn)
        creep_rpm = min(cruise_rpm, max(wished_rpm, least_rpm))
        creep_pulses = max(1, round(creep_rpm / 60 * pulses_per_turn * CREEP_S))
        return cls(cruise_rpm, creep_rpm, acceleration_rpm_s, deceleration_rpm_s, creep_pulses / pulses_per_turn)

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

    def peak_rpm(self, turns: float, start_rpm: float = 0.0) -> float:
        """Highest speed of a move over this many turns that never cruises: v^2 gained at a and lost at b over the way.

        sqrt(2 a b D / (a + b)) from rest to rest.
        """
        start, creep = start_rpm / 60, self.creep_rpm / 60
        gain, loss = self.acceleration_rpm_s / 60, self.deceleration_rpm_s / 60
        return 60 * sqrt((2 * gain * loss * turns + loss * start**2 + gain * creep**2) / (gain + loss))

    def _approach_seconds(self, turns: float, start: float) -> float:
        """From `start` turns a second to creep speed over this many turns: a trapezoid, or a triangle."""
        cruise, creep = self.cruise_rpm / 60, self.creep_rpm / 60
        gain, loss = self.acceleration_rpm_s / 60, self.deceleration_rpm_s / 60
        start = min(start, cruise)
        peak = min(cruise, self.peak_rpm(turns, 60 * start) / 60)
        if peak < max(start, creep):
            # too near the stop for a ramp both ways: one even change of speed, as far as it goes
            return 2 * turns / (start + creep)
        ramps = (peak**2 - start**2) / (2 * gain) + (peak**2 - creep**2) / (2 * loss)
        return (peak - start) / gain + (peak - creep) / loss + (turns - ramps) / peak
