"""The wiring: its tables, and the net list that follows, of who is joined to whom and through what.

Every rule of the wiring stands in the tables below; the drawing and the net list both come from `Circuit`, which
`reading` makes of a machine file.
A terminal is written "PART.NAME", the board being U1.
"""

from __future__ import annotations

from attrs import frozen

from wiring.boards import BOARDS, SUPPLIES, terminal

# Holds the motor off while the board is in reset or not yet running. Of the RP2350 it must be 8.2 kOhm or less: its
# input may leak enough to hold a weaker one near 2.2 V (data sheet, erratum E9).
PULL_DOWN_OHM = 4700
# 5 V x 18 / (10 + 18) = 3.21 V, inside what a pin of 3.3 V bears.
DIVIDER_OHM = (10_000, 18_000)
PULL_UP_OHM = 4700
# The pull-up gives a closed contact 0.3 mA, five times what the board's own of about 50 kOhm would: a contact needs
# some current to break the film on its faces. It is then at 1 / 11 of the supply, 0.3 V, which reads as low. With the
# capacitor 4.7 ms, which a contact's bounce hides in and a person does not notice.
CONTACT_OHM, CONTACT_NF, CONTACT_PULL_UP_OHM = 1000, 470, 10_000
# A broken wire reads as slack strand: the resistor draws the pin down, and bends the reading by 1 to 4 %.
LEVEL_OHM, LEVEL_NF, LEVEL_DOWN_OHM = 1000, 100, 100_000
LAMP_OHM, BUZZER_OHM = 330, 220
# An enable that is active low is pulled up at the driver, and pulled low by a transistor that the pin turns on: a pin
# that is low, dead or unplugged leaves the driver disabled.
ENABLE_PULL_UP_OHM = 10_000
INVERTER, INVERTER_TITLE = "Q1", "inverter"
# Across the capacitor at the driver, with its lamp: 10 mA at 24 V, and what the capacitor holds is gone in seconds.
LIVE_OHM = 2200


@frozen
class Wire:
    """What a role's pin is joined to. part, name: the terminal there.

    way: "plain", "motor", "signal", "contact", "level", or "lamp" and "buzzer" for what they need in series.
    """

    part: str
    name: str
    way: str = "plain"


# role of a pin in a machine file -> its wire
WIRES = {
    "motor_enable": Wire("A1", "EN", "motor"),
    "motor_pwm": Wire("A1", "PWM", "motor"),
    "step": Wire("A1", "STEP", "motor"),
    "motor_direction": Wire("A1", "DIR"),
    "step_direction": Wire("A1", "DIR"),
    "sensor_a": Wire("B1", "A", "signal"),
    "sensor_b": Wire("B1", "B", "signal"),
    "wheel_a": Wire("B2", "A", "signal"),
    "wheel_b": Wire("B2", "B", "signal"),
    "stop_button": Wire("S2", "1", "contact"),
    "go_button": Wire("S3", "1", "contact"),
    "guard": Wire("S4", "1", "contact"),
    "run_out": Wire("S5", "1", "contact"),
    "tension": Wire("S6", "1", "contact"),
    "tension_level": Wire("B3", "OUT", "level"),
    "lamp": Wire("H1", "+", "lamp"),
    "buzzer": Wire("H2", "+", "buzzer"),
    "loopback_a": Wire("X1", "A"),
    "loopback_b": Wire("X1", "B"),
}

# role -> (role, its terminal beside the first one's): where a jumper of the self-test leads to. It stands at the board,
# on the pin's side of a divider, which would leave the pulse too little.
JUMPERED = {"loopback_a": ("sensor_a", "SA"), "loopback_b": ("sensor_b", "SB")}

# part -> (what it is, its supply wires as pairs of supply and terminal)
_SENSOR_SUPPLY = (("sensor", "VCC"), ("GND", "GND"))
PARTS = {
    "A1": ("motor driver", (("GND", "GND"),)),
    "B1": ("shaft sensor", _SENSOR_SUPPLY),
    "B2": ("measuring wheel's sensor", _SENSOR_SUPPLY),
    "B3": ("tension sensor, a voltage", (("3V3", "VCC"), ("GND", "GND"))),
    "S2": ("stop button, opens when pressed", (("GND", "2"),)),
    "S3": ("go button, closes when pressed", (("GND", "2"),)),
    "S4": ("guard switch, closed with the guard", (("GND", "2"),)),
    "S5": ("run-out switch, opens without strand", (("GND", "2"),)),
    "S6": ("tension switch, opens on a snag", (("GND", "2"),)),
    "H1": ("lamp (LED)", (("GND", "-"),)),
    "H2": ("piezo buzzer, active", (("GND", "-"),)),
    "X1": ("test pins: jumper A to SA, B to SB", ()),
}

# part -> (the plug that takes it off the board, its title). The driver's inputs have their pull-downs on the driver's
# side: whatever is pulled, or not yet plugged in, the motor is off. What a sensor's wire needs stands at the board.
DRIVER, DRIVER_LOGIC = "A1", "VCC"
PLUGS = {
    DRIVER: ("X2", "plug between board and driver"),
    "B1": ("X3", "plug at the board"),
    "B2": ("X4", "plug at the board"),
}

# The motor's supply: fuse, then the contactor's contact. Its coil holds itself through its own second contact, so that
# letting the emergency stop out starts nothing; no terminal of the board takes part. Contacts are numbered as in
# EN 50005, from memory.
POWER_NETS = {
    "motor supply +": ("G1.+", "F1.1"),
    "fused": ("F1.2", "K1.1", "S0.11"),
    "motor supply, switched": ("K1.2", "A1.VM", "C0.+"),
    "motor live": ("H0.+",),
    "stop chain": ("S0.12", "S1.1", "K1.13"),
    "coil": ("S1.2", "K1.14", "K1.A1", "D1.K"),
    "motor supply -": ("G1.-", "K1.A2", "D1.A", "C0.-", "H0.-", "A1.GND"),
}
POWER_PARTS = {
    "G1": "motor supply",
    "F1": "fuse",
    "S0": "emergency stop, latches",
    "S1": "motor on, closes when pressed",
    "K1": "contactor",
    "D1": "diode across the coil",
    "C0": "capacitor at the driver",
    "H0": "lamp: motor live",
}

# Part -> where its ground passes the emergency stop's second contact: it tells the winder, which else goes on asking
# for a motor that has no power, and would have it at "motor on". A wire that breaks there stops the winder, too.
TOLD_THROUGH = {"S2": ("S0.22", "S0.21")}

# In place of some of the above, of a guard that drops the contactor by its switch's second contact.
GUARD_NETS = {
    "fused": ("F1.2", "K1.1", "S4.21"),
    "guarded": ("S4.22", "S0.11"),
}

# drive -> (what M1 is, its nets, what turns it the other way round)
MOTORS = {
    "dc": ("DC gear motor", {"OUT1": ("A1.OUT1", "M1.+"), "OUT2": ("A1.OUT2", "M1.-")}, "swap + and -"),
    "stepper": (
        "stepper motor",
        {f"coil {end}": (f"A1.{end}", f"M1.{end}") for end in ("A+", "A-", "B+", "B-")},
        "swap A+ and A-",
    ),
}
DRIVE_OF = {"motor_pwm": "dc", "step": "stepper"}


@frozen
class Component:
    """A small part in a wire. ref: "R1"; value: "4.7 kOhm"; ends: the nets that it joins.

    beyond_plug: whether it sits on the part's side of a plug in the wire, else at the board.
    """

    ref: str
    value: str
    ends: tuple[str, str]
    beyond_plug: bool = False


# Of a driver that makes it by itself.
LOGIC_SUPPLY = "logic supply of A1"

# Fixed, as the motor's supply is.
LIVE_RESISTOR = Component("R0", f"{LIVE_OHM / 1000:g} kOhm", ("motor supply, switched", "motor live"))


@frozen
class Row:
    """A wire from the board to a part. pin: as printed on the board; label: role or supply.

    inverted: whether the part gets the opposite level, by a transistor on its side of the plug.
    through: the terminals of a contact in the wire, the board's side first; () for none.
    """

    pin: str
    label: str
    part: str
    name: str
    way: str
    components: tuple[Component, ...]
    inverted: bool = False
    through: tuple[str, ...] = ()

    @property
    def plug(self) -> str:
        """The plug that it passes; "" for none."""
        return PLUGS[self.part][0] if self.part in PLUGS else ""


@frozen
class Circuit:
    """The whole wiring of a machine. rows: grouped by part, in the order of the drawing. drive: of MOTORS, or "".

    guard_drops_motor: whether the guard switch has a second contact, in the contactor's chain.
    """

    kind: str
    title: str
    rows: tuple[Row, ...]
    drive: str
    guard_drops_motor: bool = False

    @property
    def has_motor(self) -> bool:
        """Whether there is a motor, and so a driver and a supply of its own."""
        return bool(self.drive)

    @property
    def board(self) -> str:
        """What the board is called."""
        return BOARDS[self.kind]

    def parts(self) -> list[str]:
        """The parts that are wired to the board, in order."""
        return list(dict.fromkeys(row.part for row in self.rows))

    def components(self) -> list[Component]:
        """Every resistor and capacitor."""
        found = [component for row in self.rows for component in row.components]
        return [*found, LIVE_RESISTOR] if self.has_motor else found

    def nets(self) -> dict[str, frozenset[str]]:
        """Net -> the terminals that it joins."""
        joined: dict[str, set[str]] = {}
        for row in self.rows:
            board_end, part_end = _ends(row)
            joined.setdefault(board_end, set()).add(f"U1.{row.pin}")
            joined.setdefault(part_end, set()).add(f"{row.part}.{row.name}")
            if row.plug:
                joined[board_end if row.part == DRIVER else part_end].add(f"{row.plug}.{row.name}")
            if row.through:
                joined[board_end].add(row.through[0])
                joined[part_end].add(row.through[1])
            if row.inverted:
                joined[board_end].add(f"{INVERTER}.G")
                joined[part_end].add(f"{INVERTER}.D")
                joined.setdefault("GND", set()).add(f"{INVERTER}.S")
        for component in self.components():
            for number, net in enumerate(component.ends, 1):
                joined.setdefault(net, set()).add(f"{component.ref}.{number}")
        if LOGIC_SUPPLY in joined:
            joined[LOGIC_SUPPLY].add(f"{DRIVER}.{DRIVER_LOGIC}")
        if self.has_motor:
            guard = GUARD_NETS if self.guard_drops_motor else {}
            for net, terminals in (POWER_NETS | guard | MOTORS[self.drive][1]).items():
                # the driver's ground joins the logic's to the motor supply's, in one place
                joined.setdefault("GND" if net == "motor supply -" else net, set()).update(terminals)
        for supply in SUPPLIES & set(joined):
            joined[supply].add(f"U1.{terminal(self.kind, supply)}")
        return {net: frozenset(terminals) for net, terminals in joined.items()}


def _ends(row: Row) -> tuple[str, str]:
    """The nets at the board's end and at the part's end of a wire: two where something lies between."""
    between = (
        row.inverted
        or row.through
        or any(component.ends == (f"{row.label}, at {row.part}", row.label) for component in row.components)
    )
    return row.label, f"{row.label}, at {row.part}" if between else row.label
