"""Dry friction that lets a shaft come to real rest."""

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from plant.motor import Motor


class Friction:
    """Coulomb friction with a breakaway torque above it.

    sliding_nm: torque against the motion. breakaway_nm: torque that starts the shaft from rest.
    ratchet: whether a pawl keeps the shaft from turning back.
    """

    def __init__(self, sliding_nm: float, breakaway_nm: float, ratchet: bool) -> None:
        self.sliding_nm = sliding_nm
        self.breakaway_nm = breakaway_nm
        self.ratchet = ratchet

    def at_rest(self, push_nm: float) -> float:
        """The load of a shaft at rest under a push: 0.0 when it stays there, else the signed friction as it starts."""
        if push_nm > self.breakaway_nm:
            return self.sliding_nm
        if push_nm < -self.breakaway_nm and not self.ratchet:
            return -self.sliding_nm
        return 0.0


class Shaft:
    """The spool's shaft under motor, friction and the strand's pull.

    The friction is constant over a step and against the motion at its start; a step in which the speed
    would change its sign ends at rest, and at rest only more than the breakaway torque moves it again. So
    the shaft never chatters about standstill.
    """

    def __init__(self, motor: "Motor", friction: Friction, supply_v: float) -> None:
        self.motor = motor
        self.friction = friction
        self.supply_v = supply_v

    def step(self, duty: int, brake: int, pull_nm: float) -> float:
        """Radians turned in one step.

        duty: -1000 to 1000, the motor shorted between its pulses. pull_nm: the strand's, against winding.
        """
        motor = self.motor
        before = motor.speed
        volts = self.supply_v * duty / 1000
        closed = duty or brake
        if before > 0.0:
            load = pull_nm + self.friction.sliding_nm
        elif before < 0.0:
            load = pull_nm - self.friction.sliding_nm
        else:
            push = (motor.constant * volts / motor.resistance_ohm if closed else 0.0) - pull_nm
            load = self.friction.at_rest(push)
            if load == 0.0:
                motor.hold(volts if closed else 0.0)
                return 0.0
            load += pull_nm
        turned = motor.driven(volts, load) if closed else motor.coasting(load)
        after = motor.speed
        if before * after < 0.0:
            # it stops within the step; at the even deceleration of that step this is how far it gets
            turned = 0.5 * before * before / (before - after) * motor.step_s
            motor.hold(volts if closed else 0.0)
        elif before == 0.0 and after < 0.0 and self.friction.ratchet:
            motor.hold(volts if closed else 0.0)
            turned = 0.0
        elif before == 0.0 and turned * after < 0.0:
            # while the current rises, friction holds the shaft: it does not set out the other way
            turned = 0.0
        return turned
