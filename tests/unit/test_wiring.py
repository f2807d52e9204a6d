"""The wiring drawn for each machine file is what the file says, and is safe by its net list."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from boards.motor_pins import MOTOR_PINS
from reelwright.cli import COMMANDS, main
from reelwright.errors import FileFaultsError
from reelwright.machines.boards import boards
from reelwright.profiles.toml_files import read_toml
from wiring.boards import BOARDS, terminal
from wiring.circuit import (
    CONTACT_OHM,
    CONTACT_PULL_UP_OHM,
    DIVIDER_OHM,
    DRIVER,
    INVERTER,
    LIVE_OHM,
    MOTORS,
    PARTS,
    PLUGS,
    POWER_PARTS,
    PULL_DOWN_OHM,
    WIRES,
    Circuit,
)
from wiring.drawing import drawn, read_components, read_parts, read_wires
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from collections.abc import Collection

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
MACHINES = sorted((HARDWARE / "machines").glob("*.toml"))
every_machine = pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)


def profile(path: Path) -> dict[str, Any]:
    """The [machine.NAME] of a machine file, whose name is the file's."""
    return dict(read_toml(path)["machine"][path.stem])


def description(path: Path = HARDWARE / "machines" / "pico-dc.toml") -> dict[str, Any]:
    return read_toml(path)


def circuit(path: Path) -> Circuit:
    return circuit_of(read_toml(path), path.name)


with_motor = pytest.mark.parametrize(
    "path", [path for path in MACHINES if circuit(path).has_motor], ids=lambda path: path.stem
)


def joined_through(nets: dict[str, frozenset[str]], ref: str) -> set[str]:
    """The nets at both ends of a part."""
    return {net for net, terminals in nets.items() if terminals & {f"{ref}.1", f"{ref}.2"}}


def beyond(nets: Collection[frozenset[str]], start: str, *bridges: tuple[str, str]) -> set[str]:
    """All terminals met from one, through the parts named by their two terminals."""
    met, fresh = set(), {start}
    while fresh:
        met |= fresh
        nearby = {each for terminals in nets if terminals & fresh for each in terminals}
        nearby |= {two for one, two in bridges if one in met} | {one for one, two in bridges if two in met}
        fresh = nearby - met
    return met


FUSE, MAIN, STOP = ("F1.1", "F1.2"), ("K1.1", "K1.2"), ("S0.11", "S0.12")
START, HOLD, COIL = ("S1.1", "S1.2"), ("K1.13", "K1.14"), ("K1.A1", "K1.A2")


@every_machine
def test_the_committed_drawing_shows_the_wires_of_the_machine_file(path: Path) -> None:
    svg = (HARDWARE / "wiring" / f"{path.stem}.svg").read_text(encoding="utf-8")
    wanted = circuit(path)
    out_of_date = "out of date: run `python hardware/wiring`"
    assert read_wires(svg) == {(row.pin, row.label, row.part, row.name) for row in wanted.rows}, out_of_date
    assert read_components(svg) == {(each.ref, each.value) for each in wanted.components()}, out_of_date
    plugs = {PLUGS[part][0] for part in wanted.parts() if part in PLUGS}
    motors = ("M1", *POWER_PARTS) if wanted.has_motor else ()
    inverters = {INVERTER for row in wanted.rows if row.inverted}
    assert read_parts(svg) == {"U1", *wanted.parts(), *plugs, *motors, *inverters}, out_of_date


def test_a_drawing_of_other_pins_is_told_from_the_right_one() -> None:
    given = description()
    before = drawn(circuit_of(given, "a"))
    given["board"]["pins"]["motor_pwm"], given["board"]["pins"]["lamp"] = 18, 16
    after = drawn(circuit_of(given, "a"))
    changed = read_wires(before) ^ read_wires(after)
    assert {wire[1] for wire in changed} == {"motor_pwm", "lamp"}
    del given["board"]["pins"]["buzzer"]
    assert "H2" not in read_parts(drawn(circuit_of(given, "a")))


@every_machine
def test_every_pin_of_the_file_is_wired_once_and_to_its_role(path: Path) -> None:
    pins = read_toml(path)["board"]["pins"]
    kind = read_toml(path)["board"]["kind"]
    nets = circuit(path).nets()
    for role, pin in pins.items():
        holders = [net for net, terminals in nets.items() if f"U1.{terminal(kind, pin)}" in terminals]
        assert holders == [role]


@every_machine
def test_no_terminal_and_no_small_part_is_left_in_the_air(path: Path) -> None:
    nets = circuit(path).nets()
    for net, terminals in nets.items():
        assert len(terminals) >= 2, net
    everyone = [terminal for terminals in nets.values() for terminal in terminals]
    assert len(everyone) == len(set(everyone))
    for each in circuit(path).components():
        assert len(joined_through(nets, each.ref)) == 2


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


def test_an_enable_that_is_active_low_is_held_high_by_a_board_that_is_dead_in_reset_or_unplugged() -> None:
    """The transistor pulls it low, and only while the board drives the gate high, by way of the plug."""
    given = read_toml(HARDWARE / "machines" / "esp32-stepper.toml")
    assert given["wiring"]["enable_input"] == "active_low"
    wired = circuit_of(given, "a")
    nets = {frozenset(terminals) for terminals in wired.nets().values()}
    pull_down, pull_up = [
        each for each in wired.components() if each.beyond_plug and any("motor_enable" in end for end in each.ends)
    ]
    assert {"U1.IO25", "X2.EN", f"{pull_down.ref}.1", "Q1.G"} in nets
    assert pull_down.ends == ("motor_enable", "GND")
    assert {"Q1.D", "A1.EN", f"{pull_up.ref}.1"} in nets
    assert {f"{pull_up.ref}.2", "A1.VCC"} in nets
    assert "Q1.S" in wired.nets()["GND"]
    svg = drawn(wired)
    assert "to VCC of A1" in svg
    given["wiring"]["enable_input"] = "active_high"
    straight = circuit_of(given, "a")
    assert {"U1.IO25", "X2.EN", "A1.EN", "R1.1"} == straight.nets()["motor_enable"]
    assert INVERTER not in read_parts(drawn(straight))


@every_machine
def test_a_sensor_comes_off_by_its_plug_and_leaves_what_its_pin_needs_at_the_board(path: Path) -> None:
    wired = circuit(path)
    nets = wired.nets()
    sensed = [row for row in wired.rows if row.part in PLUGS and row.part != DRIVER]
    assert sensed
    for row in sensed:
        together = {f"{PLUGS[row.part][0]}.{row.name}", f"{row.part}.{row.name}"}
        assert any(together <= terminals for terminals in nets.values()), row
        assert not any(each.beyond_plug for each in row.components)


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
    page = (HARDWARE / "README.md").read_text(encoding="utf-8")
    told_s = float(re.search(r"H0 goes out within (\d+) s", " ".join(page.split()))[1])
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


@pytest.mark.parametrize(
    ("given", "lacking", "told"),
    [
        ("yes", (), "is neither true nor false"),
        (1, (), "is neither true nor false"),
        (True, ("guard",), "the winder is not told of the guard"),
        (True, ("motor_pwm", "motor_direction"), "no pin of a motor is given"),
    ],
)
def test_a_guard_that_cannot_drop_the_motor_is_refused(given: object, lacking: tuple[str, ...], told: str) -> None:
    table = description()
    table["wiring"]["guard_drops_motor"] = given
    for role in lacking:
        del table["board"]["pins"][role]
    with pytest.raises(FileFaultsError) as refused:
        circuit_of(table, "a")
    assert [fault.path for fault in refused.value.faults] == ["wiring.guard_drops_motor"]
    assert told in refused.value.faults[0].message


def test_what_contradicts_the_wiring_is_told_all_at_once() -> None:
    table = description()
    table["wiring"] = {"sensor_supply_v": 5, "enable_input": "low", "guard_drops_motor": True}
    table["board"]["pulls"] = {"sensor_a": "up", "wheel_a": "none"}
    del table["board"]["pins"]["guard"]
    with pytest.raises(FileFaultsError) as refused:
        circuit_of(table, "a")
    assert {fault.path for fault in refused.value.faults} == {
        "board.pulls.sensor_a",
        "wiring.guard_drops_motor",
        "wiring.enable_input",
    }


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


def test_a_stop_button_that_closes_is_refused_where_the_emergency_stop_opens_its_wire() -> None:
    given = description()
    given["board"]["active_low"] = ["stop_button"]
    with pytest.raises(FileFaultsError) as told:
        circuit_of(given, "a")
    assert [fault.path for fault in told.value.faults] == ["board.active_low"]
    assert "take a stop button that opens" in told.value.faults[0].message
    for role in ("motor_pwm", "motor_direction"):
        del given["board"]["pins"][role]
    assert not circuit_of(given, "a").has_motor  # a crank has no emergency stop


@pytest.mark.parametrize("supply", [3.3, 5])
@pytest.mark.parametrize("output", ["push_pull", "open_collector"])
def test_no_signal_of_5_volts_reaches_a_pin_of_3_3(supply: float, output: str) -> None:
    given = description()
    given["wiring"] = {"sensor_supply_v": supply, "sensor_output": output}
    given["board"]["pulls"] = {"sensor_a": "none", "wheel_a": "none"}
    wired = circuit_of(given, "a")
    nets = wired.nets()
    direct = "B1.A" in nets["sensor_a"]
    assert direct == (output == "open_collector" or supply == 3.3)
    pulls = [each.value for each in wired.components() if joined_through(nets, each.ref) == {"sensor_a", "3V3"}]
    assert pulls == (["4.7 kOhm"] if output == "open_collector" else [])
    assert "B1.VCC" in nets["5V" if supply == 5 else "3V3"]
    if not direct:
        upper, lower = DIVIDER_OHM
        # VIH of 3.3 V CMOS is 0.7 of its supply: LVCMOS, JEDEC JESD8C gives 2.0 V; from memory
        assert 0.7 * 3.3 < 5 * lower / (upper + lower) <= 3.3


@pytest.mark.parametrize("supply", [3.3, 5])
def test_a_broken_wire_of_a_tension_level_reads_as_slack_and_its_voltage_is_the_pins_own(supply: float) -> None:
    given = description()
    given["board"]["pins"]["tension_level"] = 27
    given["wiring"] = {"sensor_supply_v": supply}
    given["board"]["pulls"] = {"sensor_a": "none", "wheel_a": "none"}
    wired = circuit_of(given, "a")
    nets = wired.nets()
    assert {"U1.GP27 (32)"} <= nets["tension_level"]
    assert {"B3.VCC"} <= nets["3V3"]
    down = [each.value for each in wired.components() if joined_through(nets, each.ref) == {"tension_level", "GND"}]
    assert down == ["100 kOhm", "100 nF"]
    assert "B3" in read_parts(drawn(wired))


def test_a_contact_at_a_pin_without_a_pull_gets_one_outside() -> None:
    given = description()
    given["board"]["pulls"] = {"stop_button": "none"}
    wired = circuit_of(given, "a")
    joined = [
        each.value for each in wired.components() if joined_through(wired.nets(), each.ref) == {"stop_button", "3V3"}
    ]
    assert joined == ["10 kOhm"]
    # closed it must read as low: VIL of 3.3 V CMOS, 0.8 V, JEDEC JESD8C, and 0.25 of the supply by the ESP32 Series
    # Datasheet, 5.3; both from memory
    assert 3.3 * CONTACT_OHM / (CONTACT_OHM + CONTACT_PULL_UP_OHM) < 0.8


def test_no_two_small_parts_are_drawn_over_one_another() -> None:
    given = description()
    given["board"]["pins"]["tension_level"] = 27
    given["board"]["pulls"] = {"stop_button": "none"}
    given["wiring"]["guard_drops_motor"] = True
    svg = drawn(circuit_of(given, "a"))
    places = [tuple(map(float, at)) for at in re.findall(r'<text x="([\d.-]+)" y="([\d.-]+)"', svg)]
    assert len(places) > 50
    assert "S4 guard switch: 21 to 22" in svg
    assert len({(round(x), round(y)) for x, y in places}) == len(places)


def test_a_contact_to_ground_that_is_pulled_down_is_refused() -> None:
    """The pin would be low for ever, and a stop button that opens would stop nothing."""
    given = description()
    given["board"]["pulls"] = {"stop_button": "down"}
    with pytest.raises(FileFaultsError) as told:
        circuit_of(given, "a")
    assert [fault.path for fault in told.value.faults] == ["board.pulls.stop_button"]


def test_a_divider_at_a_pin_that_the_board_pulls_is_refused() -> None:
    """An ESP32's pull of 45 kOhm (ESP32 Series Datasheet, 5.3, from memory) holds an unplugged divider at 0.94 V."""
    given = description()
    given["wiring"] = {"sensor_supply_v": 5, "sensor_output": "push_pull"}
    given["board"]["pulls"] = {"wheel_a": "up"}
    with pytest.raises(FileFaultsError) as told:
        circuit_of(given, "a")
    assert [fault.path for fault in told.value.faults] == ["board.pulls.sensor_a", "board.pulls.wheel_a"]
    assert all('"none"' in fault.message for fault in told.value.faults)


def test_a_hand_driven_winder_has_no_motor_supply() -> None:
    given = description()
    for role in ("motor_pwm", "motor_direction"):
        del given["board"]["pins"][role]
    wired = circuit_of(given, "a")
    assert not wired.has_motor
    assert "G1.+" not in {terminal for terminals in wired.nets().values() for terminal in terminals}
    assert "F1" not in read_parts(drawn(wired))


def test_all_faults_of_a_file_are_told_at_once() -> None:
    given = description()
    given["board"]["pins"] |= {"motor_pmw": 3, "lamp": 16, "buzzer": 77, "guard": "GP3"}
    given["board"]["active_low"] = ["motor_pwm", "go_button"]
    with pytest.raises(FileFaultsError) as told:
        circuit_of(given, "mine.toml")
    faults = {fault.path: fault.message for fault in told.value.faults}
    assert set(faults) == {
        "board.pins.motor_pmw",
        "board.pins.lamp",
        "board.pins.buzzer",
        "board.pins.guard",
        "board.active_low",
    }
    assert 'did you mean "motor_pwm"?' in faults["board.pins.motor_pmw"]
    assert "taken by motor_pwm" in faults["board.pins.lamp"]


@pytest.mark.parametrize(
    ("table", "path"),
    [
        ({"board": {"kind": "picoo", "pins": {"lamp": 1}}}, "board.kind"),
        ({"board": {"kind": "pico"}}, "board.pins"),
        ({"board": {"kind": "pico", "pins": {}}}, "board.pins"),
        ({}, "board.kind"),
        ({"board": {"kind": "pico", "pins": {"lamp": 1}}, "wiring": {"sensor_supply_v": 12}}, "wiring.sensor_supply_v"),
        ({"board": {"kind": "pico", "pins": {"lamp": 1}}, "wiring": {"sensor_output": 3}}, "wiring.sensor_output"),
        ({"board": {"kind": "pico", "pins": {"lamp": True}}}, "board.pins.lamp"),
        ({"board": {"kind": "pico", "pins": {"lamp": 1}}, "wiring": {"enable_input": "low"}}, "wiring.enable_input"),
        ({"board": {"kind": "pico", "pins": {"lamp": 1}}, "wiring": {"enable": "active_low"}}, "wiring.enable"),
    ],
)
def test_a_file_that_says_too_little_is_refused(table: dict[str, Any], path: str) -> None:
    with pytest.raises(FileFaultsError) as told:
        circuit_of(table, "mine.toml")
    assert path in [fault.path for fault in told.value.faults]


def test_the_machine_files_show_every_board_and_every_drive() -> None:
    assert {read_toml(path)["board"]["kind"] for path in MACHINES} == set(BOARDS)
    assert {profile(path)["drive"] for path in MACHINES} == {"dc", "stepper", "hand"}
    sensors = ("sensor_supply_v", "sensor_output")
    wirings = {tuple(str(read_toml(path)["wiring"][key]) for key in sensors) for path in MACHINES}
    assert wirings == {("3.3", "push_pull"), ("5", "push_pull"), ("5", "open_collector")}


def test_every_part_that_a_role_can_be_wired_to_is_described() -> None:
    assert {wire.part for wire in WIRES.values()} == set(PARTS)


def test_the_roles_are_those_that_host_and_board_share() -> None:
    pins = pytest.importorskip("windlink.pins", reason="this version has no description of pins yet")
    assert set(WIRES) == {role.name for role in pins.ROLES}
    assert {role for role, wire in WIRES.items() if wire.way == "motor"} == set(pins.MOTOR_ROLES)


@every_machine
def test_the_machine_files_have_nothing_wrong(path: Path) -> None:
    if "machine" not in COMMANDS:
        pytest.skip("this version has no command that checks a machine file yet")
    told = CliRunner().invoke(main, ["machine", "check", str(path)])
    assert told.exit_code == 0, told.output
    assert "nothing wrong" in told.output


def test_the_command_draws_a_file_into_a_folder_and_lists_its_nets(tmp_path: Path) -> None:
    command = [sys.executable, str(HARDWARE / "wiring")]
    done = subprocess.run(
        [*command, str(MACHINES[0]), "-o", str(tmp_path)], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert read_wires((tmp_path / f"{MACHINES[0].stem}.svg").read_text(encoding="utf-8"))
    fresh = tmp_path / "a new" / "folder"
    again = subprocess.run(
        [*command, str(MACHINES[0]), "-o", str(fresh)], capture_output=True, text=True, timeout=120, check=False
    )
    assert again.returncode == 0, again.stderr
    assert list(fresh.iterdir()) == [fresh / f"{MACHINES[0].stem}.svg"]
    taken = subprocess.run(
        [*command, "-o", str(fresh / f"{MACHINES[0].stem}.svg")],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (taken.returncode, "Traceback" in taken.stderr) == (2, False)
    assert "Name another folder" in taken.stderr
    listed = subprocess.run(
        [*command, "--nets", str(MACHINES[0])], capture_output=True, text=True, timeout=120, check=False
    )
    nets = circuit(MACHINES[0]).nets()
    assert {line.split("  ")[1] for line in listed.stdout.splitlines()[1:]} == set(nets)
    broken = tmp_path / "broken.toml"
    broken.write_text("[board]\nkind = 'pico'\n", encoding="utf-8")
    refused = subprocess.run([*command, str(broken)], capture_output=True, text=True, timeout=120, check=False)
    assert refused.returncode == 2
    assert re.search(r"board\.pins", refused.stderr)
    assert "Traceback" not in refused.stderr
