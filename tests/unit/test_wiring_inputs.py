"""What the net list says of sensors, contacts and levels: no pin gets more than it bears, and a broken wire is told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from wired_machines import circuit, description, every_machine, joined_through
from wiring.circuit import CONTACT_OHM, CONTACT_PULL_UP_OHM, DIVIDER_OHM, DRIVER, PLUGS
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
