"""A stepper motor on the spool's shaft: it follows its steps, or loses them."""

import math

_TWO_PI = 2.0 * math.pi
_LEAST_SHARE = 0.05  # of the torque that is left far beyond the highest rate
_CATCH = 0.1  # of the highest speed: slower steps pull a slipping rotor along


class Stepper:
    """Turns exactly with its steps while its torque suffices.

    The pull-out torque falls in a straight line from the holding torque at rest to nothing at highest_speed (radians a
    second), common practice for a data sheet's curve. A rotor that falls out of step at fast steps is
    pulled by nothing and runs down on its friction; slow ones pull it along with what torque there is, until it
    is in step again. dead: its winding is open, so that it neither drives nor holds.
    """

    def __init__(
        self, steps_per_turn: float, holding_nm: float, highest_speed: float, sliding_nm: float, step_s: float
    ) -> None:
        self.speed = 0.0  # radians a second
        self.lost_steps = 0.0
        self.inertia_kg_m2 = 1.0
        self.dead = False
        self._step_rad = _TWO_PI / steps_per_turn
        self._holding_nm = holding_nm
        self._highest_speed = highest_speed
        self._sliding_nm = sliding_nm
        self._step_s = step_s
        self._in_step = True

    def step(self, step_rate: int, pull_nm: float) -> float:
        """Radians turned in one step at this rate (steps a second), against a pull of the strand."""
        before = self.speed
        wanted = step_rate * self._step_rad
        share = 1.0 - wanted / self._highest_speed
        most_nm = self._holding_nm * (share if share > _LEAST_SHARE else _LEAST_SHARE)
        needed_nm = self.inertia_kg_m2 * (wanted - before) / self._step_s + pull_nm
        if wanted > 0.0 or before > 0.0:
            needed_nm += self._sliding_nm
        slow = wanted <= _CATCH * self._highest_speed
        self._in_step = not self.dead and -most_nm <= needed_nm <= most_nm and (self._in_step or slow)
        if self._in_step:
            self.speed = wanted
            return wanted * self._step_s
        turned = self._slip(before, wanted, most_nm if slow and not self.dead else 0.0, pull_nm)
        self.lost_steps += (wanted * self._step_s - turned) / self._step_rad
        return turned

    def _slip(self, before: float, wanted: float, most_nm: float, pull_nm: float) -> float:
        """A step out of step: the torque that is left pulls the rotor towards its steps. Radians turned."""
        if before > wanted:
            least, torque_nm = wanted if most_nm else 0.0, -most_nm - pull_nm - self._sliding_nm
        else:
            least, torque_nm = 0.0, most_nm - pull_nm - self._sliding_nm
        after = before + torque_nm / self.inertia_kg_m2 * self._step_s
        if after < least:
            after = least
        elif before <= wanted < after:
            after = wanted
        self.speed = after
        return 0.5 * (before + after) * self._step_s
