"""Speed, torque and time of a wind."""

from __future__ import annotations

from math import exp, radians, sqrt
from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from collections.abc import Iterator

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

    def seconds(
        self, turns: float, start_rpm: float = 0.0, layers: tuple[tuple[float, float], ...] | None = None
    ) -> float:
        """Time for this many turns to the next stop, starting at start_rpm.

        layers: where each layer on the way ends, in turns from here, and its cruise in rpm, at most cruise_rpm; None
        for one cruise all the way. The few thousandths of a turn from creep to rest are counted as creep.
        """
        if turns <= 0:
            return 0.0
        creep = self.creep_rpm / 60
        approach_turns = turns - self.creep_turns
        if approach_turns <= 0:
            return turns / creep
        layers = layers or ((turns, self.cruise_rpm),)
        return self._approach_seconds(approach_turns, start_rpm / 60, layers) + self.creep_turns / creep

    def peak_rpm(self, turns: float, start_rpm: float = 0.0) -> float:
        """Highest speed of a move over this many turns that never cruises: v^2 gained at a and lost at b over the way.

        sqrt(2 a b D / (a + b)) from rest to rest.
        """
        start, creep = start_rpm / 60, self.creep_rpm / 60
        gain, loss = self.acceleration_rpm_s / 60, self.deceleration_rpm_s / 60
        return 60 * sqrt((2 * gain * loss * turns + loss * start**2 + gain * creep**2) / (gain + loss))

    def _approach_seconds(self, turns: float, start: float, layers: tuple[tuple[float, float], ...]) -> float:
        """From `start` turns a second to creep speed over this many turns.

        The square of the speed changes evenly with the way: up or down to each layer's cruise, level there, and
        down to the stop from where that fall begins. A stretch takes twice its way over the sum of its two speeds.
        """
        creep = self.creep_rpm / 60
        start = min(start, layers[0][1] / 60)
        if min(layers[0][1], self.peak_rpm(turns, 60 * start)) / 60 < max(start, creep):
            # too near the stop for a ramp both ways: one even change of speed, as far as it goes
            return 2 * turns / (start + creep)
        loss = 2 * self.deceleration_rpm_s / 60
        seconds, at, square = 0.0, 0.0, start**2
        for node, slope in self._nodes(turns, square, layers):
            way = node - at
            excess = square + slope * way - creep**2 - loss * (turns - node)
            if excess > 0:
                # the fall to the stop begins on this stretch
                way -= min(way, excess / (slope + loss))
            if way > 0:
                after = square + slope * way
                seconds += 2 * way / (sqrt(square) + sqrt(after))
                at, square = at + way, after
            if excess > 0:
                break
        return seconds + 2 * (turns - at) / (sqrt(square) + creep)

    def _nodes(
        self, turns: float, square: float, layers: tuple[tuple[float, float], ...]
    ) -> Iterator[tuple[float, float]]:
        """Where each even stretch of the way ends if there is no stop, and the change of the speed's square a turn."""
        at = 0.0
        for layer_end, rpm in layers:
            end, cruise = min(layer_end, turns), (rpm / 60) ** 2
            slope = 2 * (self.acceleration_rpm_s if square < cruise else -self.deceleration_rpm_s) / 60
            reached = min(end, at + (cruise - square) / slope)
            yield reached, slope
            square = cruise if reached < end else square + slope * (reached - at)
            yield end, 0.0
            at = end
