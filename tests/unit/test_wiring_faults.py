"""What cannot be wired in a machine file is refused, with its key and all at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from reelwright.cli import main
from reelwright.errors import FileFaultsError
from reelwright.machines import load_machine_file
from reelwright.profiles.toml_files import read_toml
from wired_machines import HARDWARE, description, every_machine
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path


NO_MOTOR = ("motor_pwm", "motor_direction")


@pytest.mark.parametrize(
    ("key", "given", "lacking", "told"),
    [
        ("driver_logic_supply", "bord", (), "did you mean"),
        ("driver_logic_supply", 3.3, (), "is not one of"),
        ("driver_logic_supply", "board", NO_MOTOR, "no pin of a motor is given"),
        ("guard_drops_motor", "yes", (), "is neither true nor false"),
        ("guard_drops_motor", 1, (), "is neither true nor false"),
        ("guard_drops_motor", True, ("guard",), "the winder is not told of the guard"),
        ("guard_drops_motor", True, NO_MOTOR, "no pin of a motor is given"),
        # the file has no motor_enable
        ("enable_input", "active_low", (), "no pin drives the inverter before that enable; give motor_enable = PIN"),
        ("enable_input", "active_low", NO_MOTOR, "no pin of a motor is given under [board.pins]; leave it out"),
    ],
)
def test_what_the_wiring_cannot_be_is_refused_with_its_key(
    key: str, given: object, lacking: tuple[str, ...], told: str
) -> None:
    table = description()
    assert "motor_enable" not in table["board"]["pins"]
    assert circuit_of(table, "a").has_motor
    table["wiring"][key] = given
    for role in lacking:
        del table["board"]["pins"][role]
    with pytest.raises(FileFaultsError) as refused:
        circuit_of(table, "a")
    assert [fault.path for fault in refused.value.faults] == [f"wiring.{key}"]
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


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("lamp = 18", "lamp = 16"),
        ("lamp = 18", "lamp = 23"),
        ("buzzer = 19", "buzzer = 77"),
        ("guard = 22", 'guard = "GP3"'),
        ("lamp = 18", "lamb = 18"),
        ('active_low = ["go_button"]', 'active_low = ["go_button", "motor_pwm"]'),
        ('kind = "pico"', 'kind = "esp32"'),
    ],
)
def test_the_drawing_refuses_of_the_pins_what_the_check_of_the_file_does_and_in_its_words(
    before: str, after: str, tmp_path: Path
) -> None:
    text = (HARDWARE / "machines" / "pico-dc.toml").read_text(encoding="utf-8")
    assert before in text
    path = tmp_path / "changed.toml"
    path.write_text(text.replace(before, after), encoding="utf-8")
    with pytest.raises(FileFaultsError) as drawn:
        circuit_of(read_toml(path), str(path))
    with pytest.raises(FileFaultsError) as checked:
        load_machine_file(path)
    by_drawing, by_check = ({(fault.path, fault.message) for fault in told.value.faults} for told in (drawn, checked))
    assert by_drawing
    assert by_drawing <= by_check


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
        "board.active_low[0]",
    }
    assert 'did you mean "motor_pwm"?' in faults["board.pins.motor_pmw"]
    assert "pin 16 is motor_pwm already" in faults["board.pins.lamp"]


@pytest.mark.parametrize(
    ("table", "path"),
    [
        ({"board": {"kind": "picoo", "pins": {"lamp": 1}}}, "board.kind"),
        ({"board": {"kind": "pico"}}, "board.pins"),
        ({"board": {"kind": "pico", "pins": {}}}, "board.pins"),
        ({}, "board"),
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


@every_machine
def test_the_machine_files_have_nothing_wrong(path: Path) -> None:
    told = CliRunner().invoke(main, ["machine", "check", str(path)])
    assert told.exit_code == 0, told.output
    assert "nothing wrong" in told.output
