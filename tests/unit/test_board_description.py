"""What a board makes of the machine's description: its pins, its capabilities, and each fault by name."""

from __future__ import annotations

import builtins
import json
import sys
import types
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pytest

from boards.description import DescriptionError, faults_of, load
from boards.motor_pins import MOTOR_PINS, described_pins, make_safe
from windlink import codes
from windlink.pins import BY_NAME, IN, KEYS, LEVEL, MOTOR_ROLES, OUT, ROLES, capabilities

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
SOUND: dict[str, Any] = {
    "format": 1,
    "board": "pico",
    "pins": {"motor_pwm": 2, "motor_enable": 4, "sensor_a": 6, "sensor_b": 7, "stop_button": 8, "lamp": 25},
    "active_low": ["stop_button"],
    "pulls": {"sensor_a": "down"},
    "debounce_us": 300,
}


def written(folder: Path, **changes: Any) -> str:
    path = folder / "machine.json"
    path.write_text(json.dumps({**SOUND, **changes}))
    return str(path)


def test_a_sound_description_tells_pins_levels_pulls_and_numbers(tmp_path: Path) -> None:
    found = load("pico", written(tmp_path))
    assert found.pin("motor_pwm") == 2
    assert found.pin("guard") == -1
    assert (found.active_level("stop_button"), found.active_level("lamp")) == (0, 1)
    assert (found.pull("stop_button"), found.pull("sensor_a"), found.pull("sensor_b")) == ("up", "down", "up")
    assert (found.number("debounce_us"), found.number("pwm_hz")) == (300, 20000)
    assert found.capabilities == codes.CAN_DC | codes.CAN_HAND | codes.CAN_QUADRATURE | codes.STOP_BUTTON


def test_a_part_that_has_no_pin_is_no_capability() -> None:
    assert capabilities({"sensor_a": 1}) == 0
    for role in ROLES:
        assert capabilities({"sensor_a": 1, role.name: 2}) == role.capability
    every = capabilities({role.name: number for number, role in enumerate(ROLES)})
    assert every == 1023  # all bits of the link's table


@pytest.mark.parametrize(
    ("numbers", "can"),
    [
        ({}, 0),
        ({"tension_snag_permille": 800}, codes.TENSION_SWITCH),
        ({"tension_slack_permille": 100}, codes.RUN_OUT_SWITCH),
        ({"tension_snag_permille": 800, "tension_slack_permille": 100}, codes.TENSION_SWITCH | codes.RUN_OUT_SWITCH),
    ],
    ids=str,
)
def test_a_tension_level_can_do_what_it_has_a_limit_for(numbers: dict[str, int], can: int, tmp_path: Path) -> None:
    pins = {"sensor_a": 1, "tension_level": 26}
    assert load("pico", written(tmp_path, pins=pins, active_low=[], pulls={}, **numbers)).capabilities == can
    assert capabilities({"sensor_a": 1}, numbers) == 0


def test_the_roles_of_the_motor_are_outputs_and_the_enabling_one_is_made_safe_first() -> None:
    assert MOTOR_ROLES == ("motor_enable", "motor_pwm", "step")
    for role in ROLES:
        assert role.way in (IN, OUT, LEVEL)
        assert not role.motor or role.way == OUT
        assert not role.needs or role.needs in BY_NAME


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"format": 2}, "format is 2, this firmware reads 1"),
        ({"board": "esp32"}, "made for board 'esp32', this is 'pico'"),
        ({"pins": []}, "pins is no table"),
        ({"pins": {"lamp": 3}}, "sensor_a is missing"),
        ({"pins": {"sensor_a": 3, "lamp": 3}}, "pin 3 is both lamp and sensor_a"),
        ({"pins": {"sensor_a": -1}}, "sensor_a has -1, which is no pin number"),
        ({"pins": {"sensor_a": 1, "whistle": 2}}, "whistle is no role"),
        ({"pins": {"sensor_a": 1, "wheel_b": 2}}, "wheel_b needs wheel_a"),
        ({"active_low": ["motor_enable"]}, "motor_enable must be off while its pin is low"),
        ({"active_low": ["whistle"]}, "'whistle' is no role"),
        ({"active_low": ["tension_level"]}, "tension_level is a voltage, and no switch"),
        ({"pulls": {"tension_level": "up"}}, "tension_level = 'up' is no input"),
        ({"pulls": {"lamp": "up"}}, "lamp = 'up' is no input"),
        ({"pulls": 3}, "pulls is no table"),
        ({"pwm_hz": 100}, "pwm_hz is 100, allowed are 1000 to 40000"),
        ({"debounce_us": "long"}, "debounce_us is 'long'"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_fault_of_a_description_is_named(changes: dict[str, Any], said: str, tmp_path: Path) -> None:
    with pytest.raises(DescriptionError) as failure:
        load("pico", written(tmp_path, **changes))
    assert said in str(failure.value)
    assert "machine push" in str(failure.value)


def test_all_faults_are_told_at_once() -> None:
    assert len(faults_of({"format": 9, "board": "x", "pins": {}, "pwm_hz": 0, "pulls": []}, "pico")) == 5
    assert faults_of("text", "pico") == ["it is no table"]
    assert faults_of(SOUND, "pico") == []


def test_a_missing_or_torn_file_is_told_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match="No machine is described"):
        load("pico", str(tmp_path / "machine.json"))
    whole = Path(written(tmp_path))
    whole.write_text(whole.read_text()[:-20])
    with pytest.raises(DescriptionError, match="damaged"):
        load("pico", str(whole))


def test_each_number_has_a_default_within_its_limits() -> None:
    for key in KEYS:
        assert key.lowest <= key.default <= key.highest


def made_safe(monkeypatch: pytest.MonkeyPatch, folder: Path, low: list[int] | None = None) -> list[int]:
    low = [] if low is None else low

    class Pin:
        OUT = 1

        def __init__(self, number: int, mode: int, value: int) -> None:
            assert (mode, value) == (Pin.OUT, 0)
            if number > 29:
                raise ValueError("invalid pin")
            low.append(number)

    monkeypatch.chdir(folder)
    monkeypatch.setattr(sys, "platform", "rp2")
    monkeypatch.setitem(sys.modules, "machine", types.SimpleNamespace(Pin=Pin))
    make_safe()
    return low


def test_the_described_motor_pins_are_made_safe_and_those_of_old_where_nothing_is_described(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert made_safe(monkeypatch, tmp_path) == list(MOTOR_PINS["rp2"])
    written(tmp_path, pins={"step": 9, "motor_enable": 4, "sensor_a": 6})
    assert made_safe(monkeypatch, tmp_path) == [4, 9]


def test_a_described_machine_without_a_motor_keeps_its_sensor_on_the_motor_pins_of_old(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Driven low there, the pin would short the sensor's output for as long as the board starts, or takes an upload."""
    sensor, run_out = MOTOR_PINS["rp2"]
    written(tmp_path, pins={"sensor_a": sensor, "run_out": run_out})
    assert made_safe(monkeypatch, tmp_path) == []


def test_a_pin_that_the_chip_has_not_keeps_no_other_from_being_made_safe(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    written(tmp_path, pins={"motor_enable": 31, "motor_pwm": 9})
    low: list[int] = []
    with pytest.raises(ValueError, match="invalid pin"):
        made_safe(monkeypatch, tmp_path, low)
    assert low == [9, *MOTOR_PINS["rp2"]]


@pytest.mark.parametrize("presses", [0, 1, 3])
def test_ctrl_c_at_the_start_waits_until_the_motor_pins_are_low_and_no_program_follows(presses: int) -> None:
    """After a restart of the interpreter a PWM may still run: a boot.py cut short would leave it so at the prompt."""
    safe, left = [], iter(range(presses))

    def imported(name: str, *_: object) -> types.SimpleNamespace:
        assert name == "boards.motor_pins"
        for _press in left:
            raise KeyboardInterrupt
        return types.SimpleNamespace(make_safe=lambda: safe.append(True))

    boot = compile((FIRMWARE / "boot.py").read_text(encoding="utf-8"), "boot.py", "exec")
    with pytest.raises(KeyboardInterrupt) if presses else nullcontext():
        exec(boot, {"__builtins__": {**vars(builtins), "__import__": imported}})  # noqa: S102 - the firmware's own file
    assert safe == [True]


@pytest.mark.parametrize("content", ["", "{", "[]", "{}", '{"pins": 3}', '{"pins": {"step": "x"}}'])
def test_a_description_that_cannot_be_read_leaves_the_motor_pins_of_old(
    content: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = tmp_path / "machine.json"
    path.write_text(content)
    assert described_pins(str(path)) is None
    assert made_safe(monkeypatch, tmp_path) == list(MOTOR_PINS["rp2"])
