"""A machine file as its maker writes it: all that is wrong is told at once, and what is right is compiled."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

import fakes.board_modules  # noqa: F401 - the board's modules must be there before its files
from boards import description, pio_counter, pio_steps
from machine_text import BOARD, PROFILE, faults, told
from reelwright.cli.machine import command
from reelwright.errors import FileFaultsError
from reelwright.machines import compiled_text, load_machine_file
from reelwright.machines.boards import boards
from reelwright.machines.counting import STATE_MACHINES
from reelwright.profiles import build_job, load_part
from windlink.job import HIGHEST_RATE
from windlink.pins import KEYS, MOTOR_ROLES, ROLES, highest_rate

if TYPE_CHECKING:
    from pathlib import Path

    from machine_text import Write

pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program


def with_pins(kind: str, **pins: int) -> str:
    lines = "\n".join(f"{role} = {pin}" for role, pin in pins.items())
    return PROFILE + f'[board]\nkind = "{kind}"\n[board.pins]\n{lines}\n'


def test_a_sound_file_becomes_what_the_board_reads_without_a_fault(written: Write) -> None:
    found = load_machine_file(written(PROFILE + BOARD))
    assert found.notes == ()
    compiled = json.loads(compiled_text(found))
    assert description.faults_of(compiled, "pico") == []
    assert compiled["pins"] == {"motor_pwm": 16, "motor_direction": 17, "sensor_a": 2, "stop_button": 20}
    assert {key.name: compiled[key.name] for key in KEYS} == {key.name: key.default for key in KEYS}


def test_every_input_is_compiled_with_its_pull_so_that_board_and_host_cannot_differ(
    written: Write,
) -> None:
    found = load_machine_file(written(PROFILE + BOARD + '[board.pulls]\nsensor_a = "none"\n'))
    assert json.loads(compiled_text(found))["pulls"] == {"sensor_a": "none", "stop_button": "up"}


def test_the_same_file_has_the_same_text_for_the_board(written: Write) -> None:
    texts = {compiled_text(load_machine_file(written(PROFILE + BOARD))) for _ in range(2)}
    assert len(texts) == 1


def test_the_file_serves_the_plan_too_when_it_lies_among_the_profiles(written: Write, own_profiles: Path) -> None:
    text = PROFILE + BOARD + '[wiring]\nsensor_supply_v = 5\nsensor_output = "open_collector"\n'
    (own_profiles / "shed.toml").write_text(text, encoding="utf-8")
    assert load_part("machine", "shed") == load_machine_file(written(text)).machine
    job = build_job(
        {
            "machine": {"profile": "shed"},
            "take_up": {"spool": "kilo"},
            "strand": {"profile": "pla-1.75"},
            "target": {"length_m": 3},
        }
    )
    assert job.machine.name == "shed"


def test_every_fault_of_a_wrong_file_is_told_at_once(written: Write) -> None:
    """Pin used twice, strapping pin for the motor, missing ratio, a sensor faster than its counter, and more."""
    told = faults(
        written(
            """
[machine.shed]
gears = [[10, 58], [10, 30]]
pulses_per_turn = 6000
sensor_shaft = "motor"
drive = "stepper"
fitted = ["stop_button", "guard_switch"]

[board]
kind = "esp32"
active_low = ["step", "gaurd"]
pwm_hz = 50

[board.pins]
step = 12
motor_enable = 34
step_direction = 27
sensor_a = 27
sensor_b = 39
stop_button = 6
lamp = 99
wheel_b = 26

[board.pulls]
lamp = "up"
stop_button = "upward"
"""
        )
    )
    expected = {
        "machine.screw_turns_per_pass": "missing",
        "machine.shaft_turns_per_spool_turn": "missing",
        "machine.steps_per_spool_turn": "missing",
        "machine.fitted[1]": "guard_switch has no pin",
        "machine.sensor": 'it is "single", but sensor_b has a pin',
        "board.active_low[0]": "turn the motor while its pin is low",
        "board.active_low[1]": 'did you mean "guard"',
        "machine.pulses_per_turn": "the winder takes 10000",
        "board.pwm_hz": "at least 1000 and at most 40000 Hz",
        "board.pulls.lamp": "no pull",
        "board.pulls.stop_button": "up, down, none",
        "board.pins.step": "strapping pin",
        "board.pins.motor_enable": "can drive nothing",
        "board.pins.sensor_a": "pin 27 is step_direction already",
        "board.pins.sensor_b": 'pulls.sensor_b = "none"',
        "board.pins.stop_button": "the flash is on it",
        "board.pins.lamp": "has no pin 99",
        "board.pins.wheel_b": "without wheel_a",
    }
    assert set(told) == set(expected)
    for place, words in expected.items():
        assert words in told[place], (place, told[place])


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "machine", "[machine.NAME]"),
        (PROFILE, "board", "this table is missing"),
        (BOARD, "machine", "[machine.NAME]"),
        (PROFILE + "[machine.other]\npulses_per_turn = 1\n" + BOARD, "machine", "one table [machine.NAME]"),
        (PROFILE + BOARD.replace("pico", "picco"), "board.kind", 'did you mean "pico"'),
        (PROFILE + BOARD.replace('kind = "pico"', ""), "board.kind", "missing"),
        (PROFILE + BOARD + "\n[bord]\n", "bord", 'did you mean "board"'),
        (PROFILE + BOARD.replace("[board.pins]", "sensor_a = 3\n[board.pins]"), "board.sensor_a", "into [board.pins]"),
        (PROFILE + BOARD.replace("= 16", '= "GP16"'), "board.pins.motor_pwm", "is text"),
        (PROFILE + BOARD.replace("= 16", "= true"), "board.pins.motor_pwm", "not a number"),
        (PROFILE + BOARD.replace("= 16", "= -1"), "board.pins.motor_pwm", "out of range"),
        (PROFILE + BOARD.replace("= 16", "= 25"), "board.pins.motor_pwm", "the board's own lamp"),
        (PROFILE + '[board]\nkind = "pico"\npins = 3\n', "board.pins", "[board.pins]"),
        (PROFILE + BOARD.replace("sensor_a = 2", ""), "board.pins.sensor_a", "cannot wind"),
        (PROFILE + BOARD.replace("motor_pwm = 16", ""), "board.pins.motor_pwm", "drive dc"),
        (PROFILE.replace('"dc"', '"hand"') + BOARD, "board.pins.lamp or buzzer", "drive hand"),
        (PROFILE + 'sensor = "quadrature"\n' + BOARD, "board.pins.sensor_b", "cannot wind"),
        (PROFILE + BOARD + "sensor_b = 3\n", "machine.sensor", 'set it to "quadrature"'),
        (PROFILE.replace("120", "9000") + BOARD, "machine.pulses_per_turn", "the winder takes 10000"),
        (PROFILE.replace("= 60", "= 600") + BOARD, "board.debounce_us", "set it to at most 358"),
    ],
)
def test_a_fault_is_told_with_its_place_and_its_mend(written: Write, text: str, place: str, words: str) -> None:
    told = faults(written(text))
    assert words in told.get(place, f"nothing of {place}: {told}")


@pytest.mark.parametrize("kind", list(boards()))
def test_every_pin_that_is_taken_or_not_there_is_refused(written: Write, kind: str) -> None:
    facts = boards()[kind]
    unfit = sorted(set(range(100)) - facts.pins | set(facts.not_for))
    roles = [role.name for role in ROLES]
    for start in range(0, len(unfit), len(roles)):
        pins = dict(zip(roles, unfit[start : start + len(roles)], strict=False))
        told = faults(written(with_pins(kind, **pins)))
        for role, pin in pins.items():
            assert re.search(rf"pin {pin}\b", told[f"board.pins.{role}"]), (role, pin)


@pytest.mark.parametrize("role", MOTOR_ROLES)
@pytest.mark.parametrize("pin", [2, 5, 14, 15])
def test_no_motor_hangs_on_a_pin_that_may_be_high_at_the_start(written: Write, role: str, pin: int) -> None:
    """Strapping pins and the level of each pin at reset: ESP32 Series Datasheet, 2.4 and the table of its pins."""
    assert "may turn the motor" in faults(written(with_pins("esp32", **{role: pin})))[f"board.pins.{role}"]


@pytest.mark.parametrize(
    "role", ["stop_button", "go_button", "sensor_a", "lamp", "motor_direction", "step", "loopback_a"]
)
@pytest.mark.parametrize(("pin", "level"), [(0, "low"), (12, "high")])
def test_nothing_is_wired_to_a_pin_whose_level_may_keep_the_board_from_starting(
    written: Write, role: str, pin: int, level: str
) -> None:
    """ESP32 Series Datasheet, strapping pins: GPIO0 low is download boot, MTDI (12) high is 1.8 V for the flash."""
    told = faults(written(with_pins("esp32", **{role: pin})))[f"board.pins.{role}"]
    assert f"{level} as the chip starts" in told
    assert "no program runs; take another" in told
    assert told.count(f"pin {pin}") == 1


def test_an_input_at_a_pin_that_may_hinder_a_download_passes_with_a_word_on_it(written: Write) -> None:
    """The same table: GPIO2 must be low for download boot and is not asked for SPI boot; 5 and 15 are for neither."""
    pins = {"motor_pwm": 25, "sensor_a": 5, "stop_button": 2, "guard": 15}
    notes = load_machine_file(written(with_pins("esp32", **pins))).notes
    about = [note for note in notes if "as the chip starts" in note]
    assert len(about) == 1
    assert about[0].startswith("stop_button (pin 2): ")
    assert "before you put MicroPython on the board" in about[0]
    low_there = {**pins, "stop_button": 13, "lamp": 2}
    assert not any(
        "as the chip starts" in note for note in load_machine_file(written(with_pins("esp32", **low_there))).notes
    )


def test_the_pins_that_are_made_safe_without_a_description_could_have_a_motor() -> None:
    from boards.motor_pins import MOTOR_PINS

    for facts in boards().values():
        pins = set(MOTOR_PINS[facts.platform])
        assert pins <= facts.pins - facts.input_only - set(facts.not_for) - set(facts.high_at_start), facts.kind


def test_the_motor_of_a_pico_2_is_told_to_be_pulled_down_hard_enough(written: Write) -> None:
    """At most 8.2 kOhm: RP2350 Datasheet, erratum RP2350-E9."""
    text = (PROFILE + BOARD).replace("pico", "pico2") + '[board.pulls]\nsensor_a = "down"\n'
    notes = load_machine_file(written(text)).notes
    assert re.search(r"motor_pwm \(pin 16\).*8\.2 kOhm or less", notes[0])
    assert re.search(r"sensor_a: .*2\.2 V", notes[1])


@pytest.mark.parametrize(
    ("table", "place", "words"),
    [
        ("[wiring]\nsensor_supply = 5\n", "wiring.sensor_supply", 'did you mean "sensor_supply_v"'),
        ("[wiring]\nsensor_supply_v = 12\n", "wiring.sensor_supply_v", "12 V is neither 3.3 nor 5"),
        ('[wiring]\nsensor_supply_v = "5"\n', "wiring.sensor_supply_v", "write 5 without quotes"),
        ('[wiring]\nsensor_output = "open"\n', "wiring.sensor_output", '"push_pull", "open_collector"'),
        ("[[wiring]]\n", "wiring", "is not a table"),
        (
            '[board.pulls]\nsensor_a = "down"\n[wiring]\nsensor_output = "open_collector"\n',
            "board.pulls.sensor_a",
            "leave the pull out",
        ),
        ("[wiring]\nsensor_supply_v = 5\n", "board.pulls.sensor_a", "a pull of the board would bend"),
        ("[wiring]\nguard_drops_motor = true\n", "wiring.guard_drops_motor", "give guard = PIN"),
        ('[wiring]\nenable_input = "active_low"\n', "wiring.enable_input", "give motor_enable = PIN"),
    ],
)
def test_a_wrong_wiring_table_is_told_as_the_drawing_tells_it(
    written: Write, table: str, place: str, words: str
) -> None:
    found = told(written(PROFILE + BOARD + table))
    assert set(found) == {place}
    assert words in found[place]


def test_a_good_wiring_table_passes(written: Write) -> None:
    table = '[wiring]\nsensor_supply_v = 5.0\nsensor_output = "open_collector"\n'
    assert load_machine_file(written(PROFILE + BOARD + table)).notes == ()


def test_a_window_lets_pass_what_it_says_and_no_window_is_asked_of_two_channels(written: Write) -> None:
    # at 20,000 edges a second each level lasts 50 us
    assert highest_rate(46) == 100 * 10_000
    fast = PROFILE.replace("= 60", "= 4000")
    assert "board.debounce_us" in faults(written(fast + BOARD))
    found = load_machine_file(written(fast + 'sensor = "quadrature"\n' + BOARD + "sensor_b = 3\n"))
    assert found.machine.pulses_per_turn * 2 * 1.15 < HIGHEST_RATE / 100


def test_the_mend_of_a_window_is_good(written: Write) -> None:
    text = PROFILE.replace("= 60", "= 600") + BOARD
    fitting = re.search(r"at most (\d+)", faults(written(text))["board.debounce_us"])
    assert fitting
    load_machine_file(written(text.replace('kind = "pico"', f'kind = "pico"\ndebounce_us = {fitting[1]}')))
    worse = int(fitting[1]) + 1
    assert faults(written(text.replace('kind = "pico"', f'kind = "pico"\ndebounce_us = {worse}')))


def test_counters_that_do_not_fit_into_a_block_are_told(written: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    from attrs import evolve

    text = PROFILE + 'sensor = "quadrature"\n' + BOARD + "sensor_b = 3\nwheel_a = 4\n"
    load_machine_file(written(text))
    facts = boards()
    small = evolve(facts["pico"], pio_instructions=16, pio_machines=1)
    monkeypatch.setattr("reelwright.machines.machine_file.boards", lambda: {**facts, "pico": small})
    with pytest.raises(FileFaultsError) as caught:
        load_machine_file(written(text))
    told = [fault.message for fault in caught.value.faults]
    assert any("2 state machines are wanted" in each for each in told)
    assert any("take 18 instructions, a PIO block holds 16" in each for each in told)


def test_the_lengths_of_the_programs_are_those_of_the_firmware() -> None:
    for each in STATE_MACHINES:
        program = getattr(pio_steps if each.role == "step" else pio_counter, each.program)
        assert len(program.code) == each.instructions, each.program


def test_a_window_that_the_esp32_cannot_keep_is_pointed_out(written: Write) -> None:
    """1023 periods of 80 MHz: ESP32 Technical Reference Manual, pulse counter, filter."""
    assert boards()["esp32"].longest_window_us == 1023 * 1_000_000 // 80_000_000
    pins = {"motor_pwm": 25, "sensor_a": 32, "stop_button": 13}
    found = load_machine_file(written(with_pins("esp32", **pins)))
    assert any("resistor and capacitor" in note for note in found.notes)
    assert found.board.facts.a_title() == "an ESP32 board"


def test_check_tells_the_pins_and_the_notes(written: Write) -> None:
    path = written(PROFILE + BOARD + "guard = 22\n")
    told = CliRunner().invoke(command, ["check", str(path)], catch_exceptions=False).output
    assert "machine shed on a Raspberry Pi Pico: nothing wrong" in told
    assert re.search(r"sensor_a +pin 2\n", told)
    assert "Note: guard has a pin" in told
    record = json.loads(CliRunner().invoke(command, ["check", str(path), "--json"], catch_exceptions=False).output)
    assert record["board"] == "pico"
    assert record["pins"]["guard"] == 22
