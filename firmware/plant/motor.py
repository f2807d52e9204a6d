"""A brushed DC motor, by itself and through a gearbox."""

# Squarings of the transition matrix. With 10 ms steps and a winding of 1 ms the exponent is about 10 before
# and 0.01 after, where eight terms of the series are exact to the last bit of a float.
_SQUARINGS = 10
_TERMS = 8


class Motor:
    """A motor with a constant voltage and a constant load over each step, solved exactly.

        inertia dw/dt = k i - b w - load        l di/dt = volts - r i - k w

    resistance_ohm, inductance_h: of the winding. drag_nm_s: viscous friction b. constant: k, in N m per
    ampere and in V s per radian, which are the same number. All must be positive; the drag may be 0.
    """

    def __init__(self, resistance_ohm: float, inductance_h: float, drag_nm_s: float, constant: float) -> None:
        self.resistance_ohm = resistance_ohm
        self.inductance_h = inductance_h
        self.drag_nm_s = drag_nm_s
        self.constant = constant
        self.speed = 0.0  # radians a second
        self.current_a = 0.0
        self.prepare(1.0, 0.01)

    def prepare(self, inertia_kg_m2: float, step_s: float) -> None:
        """Take the inertia on the shaft and the length of a step. Costs a hundred steps: call it when they change."""
        self.inertia_kg_m2 = inertia_kg_m2
        self.step_s = step_s
        k = self.constant
        r = self.resistance_ohm
        rate = (
            -self.drag_nm_s / inertia_kg_m2,
            k / inertia_kg_m2,
            -k / self.inductance_h,
            -r / self.inductance_h,
        )
        self._ww, self._wi, self._iw, self._ii = transition(rate, step_s)
        # the state that constant volts and load lead to: w = (k volts - r load) / stiffness, and so on
        stiffness = k * k + r * self.drag_nm_s
        self._steady_w_volts = k / stiffness
        self._steady_w_load = -r / stiffness
        self._steady_i_volts = self.drag_nm_s / stiffness
        self._steady_i_load = k / stiffness
        # radians turned in the step, from the two equations integrated over it
        self._turn_volts = k * step_s / stiffness
        self._turn_load = -r * step_s / stiffness
        self._turn_current = -k * self.inductance_h / stiffness
        self._turn_speed = -r * inertia_kg_m2 / stiffness

    def driven(self, volts: float, load_nm: float) -> float:
        """A step with the winding closed: at a voltage, or shorted at 0 V. Radians turned."""
        steady_w = self._steady_w_volts * volts + self._steady_w_load * load_nm
        steady_i = self._steady_i_volts * volts + self._steady_i_load * load_nm
        w = self.speed
        i = self.current_a
        from_w = w - steady_w
        from_i = i - steady_i
        self.speed = steady_w + self._ww * from_w + self._wi * from_i
        self.current_a = steady_i + self._iw * from_w + self._ii * from_i
        return (
            self._turn_volts * volts
            + self._turn_load * load_nm
            + self._turn_current * (self.current_a - i)
            + self._turn_speed * (self.speed - w)
        )

    def coasting(self, load_nm: float) -> float:
        """A step with the winding open: no current. Radians turned; implicit midpoint rule, exact without drag."""
        half = 0.5 * self.step_s / self.inertia_kg_m2
        before = self.speed
        self.speed = (before - half * (self.drag_nm_s * before + 2.0 * load_nm)) / (1.0 + half * self.drag_nm_s)
        self.current_a = 0.0
        return 0.5 * self.step_s * (before + self.speed)

    def hold(self, volts: float) -> None:
        """A step with the shaft held still: the current settles within it, being ten windings long."""
        self.speed = 0.0
        self.current_a = volts / self.resistance_ohm


def geared(motor: Motor, ratio: float) -> Motor:
    """The motor as seen at the slow shaft of a gearbox: torque times the ratio, speed by the ratio.

    Its rotor's inertia counts ratio^2 times at the slow shaft; losses are the friction's affair.
    """
    return Motor(motor.resistance_ohm, motor.inductance_h, motor.drag_nm_s * ratio * ratio, motor.constant * ratio)


def transition(rate: "tuple[float, float, float, float]", step_s: float) -> "tuple[float, float, float, float]":
    """exp(rate * step_s) of a 2 x 2 matrix, by scaling and squaring: sums and products only."""
    share = step_s / (1 << _SQUARINGS)
    scaled = (rate[0] * share, rate[1] * share, rate[2] * share, rate[3] * share)
    term = (1.0, 0.0, 0.0, 1.0)
    total = term
    for order in range(1, _TERMS + 1):
        a, b, c, d = _product(term, scaled)
        term = (a / order, b / order, c / order, d / order)
        total = (total[0] + term[0], total[1] + term[1], total[2] + term[2], total[3] + term[3])
    for _ in range(_SQUARINGS):
        total = _product(total, total)
    return total


def _product(
    left: "tuple[float, float, float, float]", right: "tuple[float, float, float, float]"
) -> "tuple[float, float, float, float]":
    a, b, c, d = left
    e, f, g, h = right
    return (a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h)
