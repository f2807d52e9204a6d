"""What a pin of a board may be for, declared once: for the host that checks a machine, and for the board that reads it.

A machine says for each role which pin has it; what has no pin is not there. The compiled description is the file
`machine.json` at the root of the board's file system, see FORMAT and KEYS.
"""

from windlink import codes

FORMAT = 1
FILE = "machine.json"

# Which way the signal goes, seen from the board; a level is a voltage that comes in.
IN = 0
OUT = 1
LEVEL = 2


class Role:
    """One use of a pin. name: as in the machine's file. way: IN, OUT or LEVEL.

    motor: whether a high level may turn the motor. needs: the role without which this one is of no use, or "".
    capability: what the board can do with it, one of the
    link's capability bits, or 0.
    """

    def __init__(self, name: str, way: int, about: str, motor: bool = False, needs: str = "", capability: int = 0):
        self.name = name
        self.way = way
        self.about = about
        self.motor = motor
        self.needs = needs
        self.capability = capability


# The motor's roles stand in the order in which they are made safe: the one that enables the driver first.
ROLES = (
    Role("motor_enable", OUT, "enables the motor driver; low lets the motor run free", motor=True),
    Role("motor_pwm", OUT, "speed of a DC motor, as pulse width", motor=True, capability=codes.CAN_DC),
    Role("step", OUT, "a step of a stepper on every rising edge", motor=True, capability=codes.CAN_STEPPER),
    Role("motor_direction", OUT, "direction of the DC motor; stays as the machine says", needs="motor_pwm"),
    Role("step_direction", OUT, "direction of the stepper; stays as the machine says", needs="step"),
    Role("sensor_a", IN, "shaft sensor, or its channel A"),
    Role("sensor_b", IN, "shaft sensor, channel B", needs="sensor_a", capability=codes.CAN_QUADRATURE),
    Role("wheel_a", IN, "measuring wheel, or its channel A", capability=codes.MEASURING_WHEEL),
    Role("wheel_b", IN, "measuring wheel, channel B", needs="wheel_a"),
    Role("stop_button", IN, "stops the winder", capability=codes.STOP_BUTTON),
    Role("go_button", IN, "starts, and goes on after a stop", capability=codes.GO_BUTTON),
    Role("guard", IN, "active while the guard is open", capability=codes.GUARD_SWITCH),
    Role("run_out", IN, "active when the pay-off spool is empty", capability=codes.RUN_OUT_SWITCH),
    Role("tension", IN, "active when the strand pulls too hard", capability=codes.TENSION_SWITCH),
    Role("tension_level", LEVEL, "the strand's tension as a voltage, of a dancer or a load cell"),
    Role("lamp", OUT, "tells a hand at the crank what to do", capability=codes.CAN_HAND),
    Role("buzzer", OUT, "sounds at the stop", capability=codes.CAN_HAND),
    Role("loopback_a", OUT, "self-test: by a jumper to sensor_a"),
    Role("loopback_b", OUT, "self-test: by a jumper to sensor_b", needs="loopback_a"),
)

BY_NAME = {role.name: role for role in ROLES}
MOTOR_ROLES = tuple([role.name for role in ROLES if role.motor])

# Pulls of an input, by the word in the description. A role without one is pulled up: contacts close to ground, and one
# that opens when it acts, as a stop button's should, acts too when its wire breaks.
PULLS = ("up", "down", "none")
DEFAULT_PULL = PULLS[0]

HIGHEST_PIN = 99  # that a description may name; the boards have fewer


class Key:
    """One whole number of the description, beside format, board, pins, active_low (roles) and pulls (role to word)."""

    def __init__(self, name: str, lowest: int, highest: int, default: int, about: str):
        self.name = name
        self.lowest = lowest
        self.highest = highest
        self.default = default
        self.about = about


KEYS = (
    Key("pwm_hz", 1000, 40000, 20000, "frequency of motor_pwm, Hz; above hearing by default"),
    Key("debounce_us", 2, 100000, 500, "how long one channel must keep a level to count, microseconds"),
    Key("wheel_debounce_us", 2, 100000, 200, "the same for the measuring wheel, microseconds"),
    Key("tension_snag_permille", 0, 999, 0, "tension_level above which the strand is caught; 0: not looked at"),
    Key("tension_slack_permille", 0, 999, 0, "tension_level below which the strand is slack; 0: not looked at"),
)


# A level counts once it was there at each look of the debounce window, and the looks of the slowest board are 2 us
# apart; so much longer than the window it must last.
LOOKS_US = 4


def highest_rate(debounce_us: int) -> int:
    """Hundredths of a pulse a second that a channel can have at most, its levels equally long, with such a window."""
    return 50000000 // (debounce_us + LOOKS_US)


class Limit:
    """Where a level acts like a switch. key: of KEYS, thousandths of the supply's voltage, 0 for not at all.

    above: whether it acts above that, else below. capability: the switch's bit, and what the board can do with it.
    """

    def __init__(self, role: str, key: str, above: bool, capability: int):
        self.role = role
        self.key = key
        self.above = above
        self.capability = capability


# Slack strand has run out, or is torn.
LIMITS = (
    Limit("tension_level", "tension_snag_permille", True, codes.TENSION_SWITCH),
    Limit("tension_level", "tension_slack_permille", False, codes.RUN_OUT_SWITCH),
)


def capabilities(pins: "dict[str, int]", numbers: "dict[str, int] | None" = None) -> int:
    """What a board with these pins, and numbers of KEYS, can do: the link's capability bits."""
    found = 0
    for role in ROLES:
        if role.name in pins:
            found |= role.capability
    for limit in LIMITS:
        if limit.role in pins and numbers and numbers.get(limit.key):
            found |= limit.capability
    return found
