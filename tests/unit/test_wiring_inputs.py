"""What the net list says of sensors, contacts and levels: no pin gets more than it bears, and a broken wire is told."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from hardware_page import FLOWING, ROWS
from wired_machines import circuit, description, every_machine, joined_through
from wiring.boards import terminal
from wiring.circuit import (
    CONTACT_NF,
    CONTACT_OHM,
    CONTACT_PULL_UP_OHM,
    DIVIDER_OHM,
    DRIVER,
    PLUGS,
    PULL_DOWN_OHM,
    WIRES,
)
from wiring.drawing import drawn, read_parts
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path


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


@every_machine
def test_each_jumper_of_the_self_test_has_a_contact_at_either_end(path: Path) -> None:
    """At X1 alone: the board sits in sockets, so that no jumper goes onto its own pins."""
    board = description(path)["board"]
    nets = circuit(path).nets()
    jumpers = [channel for channel in "ab" if f"loopback_{channel}" in board["pins"]]
    for channel in jumpers:
        role = f"sensor_{channel}"
        assert f"X1.{channel.upper()}" in nets[f"loopback_{channel}"]
        # the pin's own net, so that no divider lies between
        assert {f"X1.S{channel.upper()}", f"U1.{terminal(board['kind'], board['pins'][role])}"} <= nets[role]
    ends = {each for terminals in nets.values() for each in terminals if each.startswith("X1.")}
    assert len(ends) == 2 * len(jumpers)
    (row,) = [row for row in ROWS if "jumper" in row["part"]]
    assert int(row["quantity"]) == 2 >= len(jumpers)
    told = "With a jumper at X1 from A to SA (`loopback_a` to `sensor_a`), and with `quadrature` one from B to SB"
    assert told in FLOWING


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


@pytest.mark.parametrize("pull", ["up", "none"])
def test_each_contact_gets_its_current_outside_whatever_its_pin_pulls(pull: str) -> None:
    given = description()
    contacts = [role for role in given["board"]["pins"] if WIRES[role].way == "contact"]
    given["board"]["pulls"] = dict.fromkeys(contacts, pull)
    wired = circuit_of(given, "a")
    assert len(contacts) == 4
    for role in contacts:
        joined = [each.value for each in wired.components() if joined_through(wired.nets(), each.ref) == {role, "3V3"}]
        assert joined == ["10 kOhm"], role
    # closed it must read as low: VIL of 3.3 V CMOS, 0.8 V, JEDEC JESD8C, and 0.25 of the supply by the ESP32 Series
    # Datasheet, 5.3; both from memory
    assert 3.3 * CONTACT_OHM / (CONTACT_OHM + CONTACT_PULL_UP_OHM) < 0.8


def test_a_contact_that_bounces_hides_in_its_capacitor_and_a_person_does_not_notice() -> None:
    slowest_ms = CONTACT_PULL_UP_OHM * CONTACT_NF / 1e6
    board_ohm = 50_000  # of an RP2040's pull-up at its strongest: RP2040 Datasheet, 5.5.3.3, from memory
    soonest_ms = slowest_ms / (1 + CONTACT_PULL_UP_OHM / board_ohm)
    # small switches bounce for 1 to 3 ms, common practice; the pin is high at 0.7 of the supply, 1.2 times the constant
    assert 1.2 * soonest_ms > 3
    assert slowest_ms < 10


def test_a_driver_without_logic_supply_gets_little_through_the_resistors_that_the_page_allows_it() -> None:
    """DIR has no pull-down, and may be high while the contactor is off and the driver's own supply with it."""
    bullet = FLOWING.partition('A driver with "own" logic')[2].partition(" - ")[0]
    told = re.search(r"or (\d+) kOhm goes .*: it lets ([\d.]+) mA through at most, and leaves ([\d.]+) V", bullet)
    series_kohm, most_ma, left_v = map(float, told.groups())
    assert most_ma == pytest.approx(3.3 / series_kohm, abs=0.05)
    assert left_v == pytest.approx(3.3 * PULL_DOWN_OHM / (PULL_DOWN_OHM + 1000 * series_kohm), abs=0.05)
    assert left_v > 0.7 * 3.3  # VIH of 3.3 V CMOS: JEDEC JESD8C, from memory
    # inputs of one driver: the pulse, the direction and the enable
    inputs = {wire.name for wire in WIRES.values() if wire.part == DRIVER} - {"STEP"}
    listed = next(int(row["quantity"]) for row in ROWS if row["part"] == f"resistor {series_kohm:g} kOhm")
    in_the_drawing = sum(wire.way in ("contact", "level") for wire in WIRES.values())
    assert listed == in_the_drawing + len(inputs)


def test_the_self_tests_jumper_goes_to_the_boards_own_pin_since_a_divider_leaves_it_too_little() -> None:
    jumper = FLOWING.partition("### 7. ")[2].partition("### 8. ")[0]
    assert "at X1 from A to SA" in jumper
    told_v = float(re.search(r"at X3's contact a divider would leave them ([\d.]+) V", jumper)[1])
    upper, lower = DIVIDER_OHM
    assert told_v == pytest.approx(3.3 * lower / (upper + lower), abs=0.05)
    # VIH of an ESP32: 0.75 of its supply, ESP32 Series Datasheet, 5.3, from memory
    assert told_v < 0.75 * 3.3
