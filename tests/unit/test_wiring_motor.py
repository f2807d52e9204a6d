"""What the net list says of the motor: off without the board, and without power once the emergency stop is pressed."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import pytest

from boards.motor_pins import MOTOR_PINS
from hardware_page import FLOWING, ROWS
from reelwright.machines.boards import boards
from reelwright.profiles.toml_files import read_toml
from wired_machines import (
    COIL,
    FUSE,
    HARDWARE,
    HOLD,
    MAIN,
    START,
    STOP,
    beyond,
    circuit,
    description,
    every_machine,
    joined_through,
    profile,
    with_motor,
)
from wiring.circuit import DRIVER, INVERTER, LIVE_OHM, MOTORS, PLUGS, PULL_DOWN_OHM, WIRES
from wiring.drawing import drawn, read_parts, read_wires
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path


@every_machine
def test_each_pin_that_can_turn_the_motor_is_pulled_down(path: Path) -> None:
    nets = circuit(path).nets()
    turning = [role for role in read_toml(path)["board"]["pins"] if WIRES[role].way == "motor"]
    assert bool(turning) == circuit(path).has_motor == (profile(path)["drive"] != "hand")
    assert PULL_DOWN_OHM <= 8200  # what the RP2350 needs (data sheet, erratum E9)
    for role in turning:
        pulls = [each for each in circuit(path).components() if joined_through(nets, each.ref) == {role, "GND"}]
        assert [each.value for each in pulls] == ["4.7 kOhm"], role


@with_motor
def test_the_drivers_plug_may_be_pulled_and_its_inputs_stay_low(path: Path) -> None:
    """The pull-down sits on the driver's side of the plug, in the net list and in the drawing."""
    wired = circuit(path)
    nets = wired.nets()
    plug = PLUGS[DRIVER][0]
    passing = {terminal.partition(".")[2] for terminals in nets.values() for terminal in terminals if plug in terminal}
    assert passing == {row.name for row in wired.rows if row.part == DRIVER} >= {"GND"}
    svg = (HARDWARE / "wiring" / f"{path.stem}.svg").read_text(encoding="utf-8")
    at = {found[2].split()[0]: float(found[1]) for found in re.finditer(r'<tspan x="([\d.-]+)"[^>]*>([^<]+)<', svg)}
    pulls = [each for each in wired.components() if each.value == "4.7 kOhm" and each.ends[1] == "GND"]
    assert pulls
    for each in pulls:
        assert each.beyond_plug
        assert at[each.ref] > at[plug]


@pytest.mark.parametrize("supply", ["own", "board"])
def test_an_enable_that_is_active_low_is_pulled_up_to_the_drivers_logic_unless_the_board_drives_it(supply: str) -> None:
    """The transistor pulls it low, and only while the board drives the gate high, by way of the plug."""
    given = read_toml(HARDWARE / "machines" / "esp32-stepper.toml")
    assert given["wiring"]["enable_input"] == "active_low"
    given["wiring"]["driver_logic_supply"] = supply
    wired = circuit_of(given, "a")
    nets = {frozenset(terminals) for terminals in wired.nets().values()}
    pull_down, pull_up = [
        each for each in wired.components() if each.beyond_plug and any("motor_enable" in end for end in each.ends)
    ]
    assert {"U1.IO25", "X2.EN", f"{pull_down.ref}.1", "Q1.G"} in nets
    assert pull_down.ends == ("motor_enable", "GND")
    assert {"Q1.D", "A1.EN", f"{pull_up.ref}.1"} in nets
    logic = next(terminals for terminals in nets if f"{pull_up.ref}.2" in terminals)
    assert {"A1.VCC"} <= logic
    assert (logic == {f"{pull_up.ref}.2", "A1.VCC"}) == (supply == "own")
    assert "Q1.S" in wired.nets()["GND"]
    svg = drawn(wired)
    assert "to VCC of A1" in svg
    given["wiring"]["enable_input"] = "active_high"
    straight = circuit_of(given, "a")
    assert {"U1.IO25", "X2.EN", "A1.EN", "R1.1"} == straight.nets()["motor_enable"]
    assert INVERTER not in read_parts(drawn(straight))


@with_motor
def test_a_driver_whose_logic_the_board_feeds_gets_it_by_way_of_the_plug(path: Path) -> None:
    given = read_toml(path)
    for supply in ("board", "own"):
        given["wiring"]["driver_logic_supply"] = supply
        wired = circuit_of(given, "a")
        fed = [row for row in wired.rows if (row.part, row.name) == (DRIVER, "VCC")]
        assert [(row.label, row.plug) for row in fed] == ([("3V3", "X2")] if supply == "board" else [])
        met = {terminal for terminal in wired.nets()["3V3"] if terminal.startswith(("A1.", "X2."))}
        assert met == ({"A1.VCC", "X2.VCC"} if supply == "board" else set())
        assert bool([wire for wire in read_wires(drawn(wired)) if wire[1:] == ("3V3", DRIVER, "VCC")]) == bool(fed)
        ways = next(row for row in ROWS if row["ref"] == "X2")["dimensions"]
        fewest, most = map(int, re.match(r"(\d+) to (\d+) ways", ways).groups())
        assert fewest <= sum(row.part == DRIVER for row in wired.rows) <= most


def test_without_a_wire_to_the_enable_the_page_reads_the_other_level_and_trusts_the_pull_down_at_step() -> None:
    given = read_toml(HARDWARE / "machines" / "esp32-stepper.toml")
    del given["board"]["pins"]["motor_enable"]
    given["wiring"]["enable_input"] = "active_high"
    wired = circuit_of(given, "a")
    assert not any("A1.EN" in terminals for terminals in wired.nets().values())
    held = [row.label for row in wired.rows if any(each.beyond_plug for each in row.components)]
    assert held == ["step"]
    third = FLOWING.partition('3. Press "motor on": K1 pulls in')[2].partition(" 4. Hold")[0]
    told = "A driver without `motor_enable` is enabled by its own EN and reads the other way round"
    assert f"{told}: then the pull-down at STEP alone keeps it still" in third


def test_page_and_list_ask_of_a_driver_that_the_board_feeds_to_be_off_without_it() -> None:
    wiring = FLOWING.partition("## Wiring")[2].partition("## Sensor and marks")[0]
    assert "has no VCC, while the motor's supply may be on: by its data sheet it must be off then" in wiring
    assert "one that the board feeds has no VCC" in FLOWING.partition("### 2. ")[2].partition("### 3. ")[0]
    row = next(row for row in ROWS if row["ref"] == DRIVER)
    assert "Where the board feeds its VCC: off without it by its data sheet" in row["note"]


@with_motor
def test_a_lamp_shows_the_voltage_that_the_motor_has_and_not_the_supplys(path: Path) -> None:
    """It sits across the capacitor: with the contactor open it shows what is left there, and takes it away."""
    wired = circuit(path)
    nets = wired.nets()
    assert joined_through(nets, "R0") == {"motor supply, switched", "motor live"}
    assert {"C0.+", "A1.VM", "R0.1"} <= nets["motor supply, switched"]
    assert nets["motor live"] == {"R0.2", "H0.+"}
    assert {"H0.-", "C0.-"} <= nets["GND"]


@pytest.mark.parametrize("supply_v", [12, 24])
def test_the_lamp_lights_well_and_is_out_within_the_time_that_the_page_gives(supply_v: int) -> None:
    led_v, seen_ma, bright_ma = 2.0, 0.01, 4.0  # of a red LED of 5 mm: from memory; 0.01 mA is just seen in the dark
    most_uf = 1000 * 1.2  # the parts list's most, and a fifth more by its tolerance: common practice
    full_ma = (supply_v - led_v) / LIVE_OHM * 1000
    assert bright_ma < full_ma < 20  # the most of such an LED: from memory
    # a capacitor through a resistor: v = v0 exp(-t / RC), any textbook; here above the LED's own voltage
    out_s = LIVE_OHM * most_uf / 1e6 * math.log(full_ma / seen_ma)
    told_s = float(re.search(r"H0 goes out within (\d+) s", FLOWING)[1])
    assert told_s / 2 < out_s < told_s
    assert full_ma * (supply_v - led_v) < 500 / 2  # mW: half of what a resistor of 0.5 W bears: common practice


@with_motor
def test_the_motor_hangs_on_its_driver_alone(path: Path) -> None:
    wired = circuit(path)
    assert wired.drive == profile(path)["drive"]
    for one, other in MOTORS[wired.drive][1].values():
        assert {one, other} in [set(terminals) for terminals in wired.nets().values()]


@every_machine
def test_each_pin_that_can_turn_the_motor_is_one_that_starts_low_and_is_made_safe_first(path: Path) -> None:
    board = read_toml(path)["board"]
    turning = {pin for role, pin in board["pins"].items() if WIRES[role].way == "motor"}
    facts = boards()[board["kind"]]
    assert turning <= set(MOTOR_PINS[facts.platform])
    assert not turning & set(facts.high_at_start)


@with_motor
def test_the_motors_supply_passes_fuse_and_contactor_and_the_board_has_no_part_in_it(path: Path) -> None:
    nets = circuit(path).nets().values()
    assert "A1.VM" in beyond(nets, "G1.+", FUSE, MAIN)
    assert "A1.VM" not in beyond(nets, "G1.+", MAIN)
    assert "A1.VM" not in beyond(nets, "G1.+", FUSE)
    # what the driver's capacitor holds is behind the contactor: the emergency stop leaves the motor that and no more
    assert {"C0.+"} <= beyond(nets, "A1.VM") - beyond(nets, "G1.+", FUSE)
    assert {"C0.-"} <= beyond(nets, "A1.GND")
    # the coil is fed through the emergency stop, whatever else is closed
    assert "K1.A1" in beyond(nets, "G1.+", FUSE, STOP, START)
    assert "K1.A1" not in beyond(nets, "G1.+", FUSE, MAIN, START, HOLD)
    # letting the stop out starts nothing: without the button or the contact that holds, the coil gets nothing
    assert "K1.A1" not in beyond(nets, "G1.+", FUSE, MAIN, STOP)
    supply_side = beyond(nets, "G1.+", FUSE, MAIN, STOP, START, HOLD)
    assert not any(terminal.startswith("U1.") for terminal in supply_side)
    assert "G1.-" in beyond(nets, "K1.A1", COIL)


@with_motor
def test_the_emergency_stop_tells_the_winder_by_a_contact_that_stands_apart_from_the_one_that_stops(path: Path) -> None:
    wired = circuit(path)
    nets = wired.nets().values()
    pin = next(f"U1.{row.pin}" for row in wired.rows if row.label == "stop_button")
    resistor = next(each for each in wired.components() if each.ends == ("stop_button, at S2", "stop_button"))
    series, button, told = (f"{resistor.ref}.1", f"{resistor.ref}.2"), ("S2.1", "S2.2"), ("S0.21", "S0.22")
    # closed, both hold the pin to ground; either of them that opens lets it rise, and so does a wire that breaks
    assert "U1.GND" in beyond(nets, pin, series, button, told)
    assert "U1.GND" not in beyond(nets, pin, series, button)
    assert "U1.GND" not in beyond(nets, pin, series, told)
    # what stops is not what tells: neither contact's terminals are met from the other's, but for the common ground
    stopping = beyond(nets, "G1.+", FUSE, MAIN, STOP, START, HOLD)
    assert {"S0.11", "S0.12"} <= stopping
    assert not stopping & {"S0.21", "S0.22"}
    svg = (HARDWARE / "wiring" / f"{path.stem}.svg").read_text(encoding="utf-8")
    shown = re.findall(r"S0 [a-z ,]*: (\d+) to (\d+)", svg)
    assert sorted(shown) == [("11", "12"), ("21", "22")]


def test_a_guard_that_drops_the_motor_has_a_contact_of_its_own_in_the_chain_and_starts_nothing_when_it_shuts() -> None:
    given = description()
    given["wiring"]["guard_drops_motor"] = True
    wired = circuit_of(given, "a")
    nets = wired.nets().values()
    guard = ("S4.21", "S4.22")
    assert "K1.A1" in beyond(nets, "G1.+", FUSE, STOP, guard, START)
    assert "K1.A1" not in beyond(nets, "G1.+", FUSE, MAIN, STOP, START, HOLD)
    assert "K1.A1" not in beyond(nets, "G1.+", FUSE, MAIN, guard, START, HOLD)
    assert "K1.A1" not in beyond(nets, "G1.+", FUSE, MAIN, STOP, guard)
    # the winder is told by the switch's first contact, which has no part in this
    stopping = beyond(nets, "G1.+", FUSE, MAIN, STOP, guard, START, HOLD)
    assert not any(terminal.startswith("U1.") or terminal in ("S4.1", "S4.2") for terminal in stopping)
    assert "S4 guard switch: 21 to 22" in drawn(wired)
    given["wiring"]["guard_drops_motor"] = False
    without = circuit_of(given, "a")
    assert not {"S4.21", "S4.22"} & {terminal for terminals in without.nets().values() for terminal in terminals}
    assert "S4 guard switch: 21 to 22" not in drawn(without)


@pytest.mark.parametrize("lacking", [("stop_button",), ("motor_pwm", "motor_direction")])
def test_a_winder_without_stop_button_or_motor_has_no_contact_that_tells_of_an_emergency_stop(
    lacking: tuple[str, ...],
) -> None:
    given = description()
    for role in lacking:
        del given["board"]["pins"][role]
    wired = circuit_of(given, "a")
    everyone = {terminal for terminals in wired.nets().values() for terminal in terminals}
    assert not everyone & {"S0.21", "S0.22"}
    assert "S2.2" not in everyone or "S2.2" in wired.nets()["GND"]
    assert "21 to 22" not in drawn(wired)


def test_a_hand_driven_winder_has_no_motor_supply() -> None:
    given = description()
    for role in ("motor_pwm", "motor_direction"):
        del given["board"]["pins"][role]
    wired = circuit_of(given, "a")
    assert not wired.has_motor
    assert "G1.+" not in {terminal for terminals in wired.nets().values() for terminal in terminals}
    assert "F1" not in read_parts(drawn(wired))
