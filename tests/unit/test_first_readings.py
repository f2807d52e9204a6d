"""The readings before the first wind, against the net list: each would differ of a winder that is wired wrongly."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

from hardware_page import PAGE, ROWS
from wired_machines import HARDWARE, HOLD, MAIN, START, STOP, beyond, circuit, description, with_motor
from wiring.circuit import DRIVER, ENABLE_PULL_UP_OHM, PLUGS, WIRES
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path

    from wiring.circuit import Circuit

STEP_1 = PAGE.partition("\n### 1. ")[2].partition("\n### 2. ")[0]
READINGS = [line.strip("| ").split(" | ") for line in STEP_1.splitlines() if line.startswith("| ")][2:]
STEP_2 = " ".join(PAGE.partition("\n### 2. ")[2].partition("\n### 3. ")[0].split())
STEP_8 = " ".join(PAGE.partition("\n### 8. ")[2].partition("\n### 9. ")[0].split())
STEPPER = HARDWARE / "machines" / "esp32-stepper.toml"
# as the page calls it -> terminal in the net list
TERMINALS = {
    "F1's holder, end at K1": "F1.2",
    "F1's holder, end at G1": "F1.1",
    "minus of G1": "G1.-",
    "S1, end at S0": "S1.1",
    "A1 GND": "A1.GND",
    "A1 VM": "A1.VM",
    "A1 VCC": "A1.VCC",
    "GND of U1": "U1.GND",
    "3V3 of U1": "U1.3V3",
}


def terminal_of(words: str) -> str:
    return next((terminal for name, terminal in TERMINALS.items() if words.startswith(name)), "")


def told_as_joined() -> list[set[str]]:
    """The pairs of terminals that a row finds joined without any part between."""
    pairs = [{terminal_of(row[0]), terminal_of(row[1])} for row in READINGS if row[2].startswith("below 1 Ohm")]
    return [pair for pair in pairs if "" not in pair]


def is_joined(nets: list[frozenset[str]], pair: set[str]) -> bool:
    return any(pair <= terminals for terminals in nets)


def exchanged(wired: Circuit, one: str, other: str) -> list[frozenset[str]]:
    """The nets of that circuit with the leads at two terminals exchanged."""
    swap = {one: other, other: one}
    return [frozenset(swap.get(each, each) for each in terminals) for terminals in wired.nets().values()]


@with_motor
def test_leads_exchanged_at_the_driver_are_found_without_power(path: Path) -> None:
    """With power a voltmeter does not see them: the driver's own diodes pass what it draws."""
    wired = circuit(path)
    right = list(wired.nets().values())
    pair = {"G1.-", "A1.GND"}
    assert pair in told_as_joined()
    assert is_joined(right, pair)
    assert not is_joined(exchanged(wired, "A1.VM", "A1.GND"), pair)


@with_motor
def test_the_common_ground_goes_by_way_of_the_drivers_plug_and_is_measured_both_ways(path: Path) -> None:
    pair = {"U1.GND", "A1.GND"}
    assert pair in told_as_joined()
    plug = f"{PLUGS[DRIVER][0]}.GND"
    assert is_joined(list(circuit(path).nets().values()), {*pair, plug})
    row = next(row for row in READINGS if {terminal_of(row[0]), terminal_of(row[1])} == pair)
    assert "X2 in; then pulled" in row[1]
    assert "then open" in row[2]


def test_a_cranks_rows_ask_for_nothing_that_it_has_not() -> None:
    """Beside its contacts it has a board, which is fed by USB."""
    table = PAGE.partition("| step | crank |")[2].partition("\n\n")[0]
    left_out, lacking = re.search(r"the rows without ([^;|]*); ([^;|]*) it has none", table).groups()
    without = re.split(r"(?:,| and) ", f"{left_out}, {lacking}")
    left = [row for row in READINGS if not any(ref in " ".join(row) for ref in re.split(", ", left_out))]
    assert len(left) >= 3
    crank = next(row for row in ROWS if row["part"] == "crank")["note"].partition("then no ")[2]
    assert set(without) <= set(re.findall(r"[A-Z]\d", crank))
    for row in left:
        asked, _, beside_a_motor = " ".join(row[:2]).partition("beside a motor")
        assert not set(re.findall(r"\b[A-Z]\d\b", asked)) - {"U1"}, row
        assert set(re.findall(r"\b[A-Z]\d\b", beside_a_motor)) <= set(without), row


def test_the_driver_and_the_capacitor_before_it_are_tried_the_right_way_round() -> None:
    """Red at plus: the other way round the driver's diodes conduct, and look like a short."""
    row = next(row for row in READINGS if (terminal_of(row[0]), terminal_of(row[1])) == ("A1.GND", "A1.VM"))
    assert "(black lead here)" in row[0]
    assert "(red)" in row[1]
    # aluminium electrolytics have the stripe at minus, tantalum ones at plus: common practice
    assert "the stripe of an aluminium electrolytic is its minus, at A1 GND" in row[1]
    assert "aluminium electrolytic" in next(row for row in ROWS if row["ref"] == "C0")["rating"]


def test_a_steppers_enable_is_measured_since_one_without_pulses_stands_still_all_the_same() -> None:
    """Off is high behind the inverter; without it a pin at rest holds the motor, and winding frees it."""
    enable = WIRES["motor_enable"]
    at = f"{enable.part} {enable.name}"
    told = re.search(rf"{at} to A1 GND reads \*\*above ([\d.]+) of VCC\*\* where the enable is active low", STEP_2)
    # VIH of 3.3 V CMOS is 0.7 of its supply: JEDEC JESD8C, from memory
    assert float(told[1]) == 0.7
    # a pull-down within the driver, of 100 kOhm as is common practice, leaves the pull-up that much
    assert 100_000 / (100_000 + ENABLE_PULL_UP_OHM) > 0.7
    assert "**below 0.4 V** where it is active high" in STEP_2
    # a driver that the board feeds has no VCC with X2 pulled, so that it is measured once more with X2 in
    assert "one that the board feeds waits for step 8" in STEP_2
    assert f"Of a stepper {at} reads what reading 3 of step 2 says, with VCC there and USB in" in STEP_8
    assert "K1 pulls in" in STEP_2.partition(" 3. ")[2].partition(" 4. ")[0]
    row = next(line for line in PAGE.splitlines() if line.startswith("| a stepper holds and gets hot at rest"))
    assert "active low without its inverter" in row
    given = description(STEPPER)
    for polarity, inverted in (("active_low", True), ("active_high", False)):
        given["wiring"]["enable_input"] = polarity
        assert next(each for each in circuit_of(given, "a").rows if each.name == enable.name).inverted == inverted


def test_a_steppers_driver_is_set_before_it_has_power_to_the_steps_that_the_machine_file_counts() -> None:
    set_up = STEP_2.partition(" 1. ")[0]
    assert "the current of a phase to the motor's" in set_up
    assert "each other input gets the level that it asks for" in set_up
    full, microsteps, product = map(int, re.search(r"(\d+) x (\d+) = (\d+)", set_up).groups())
    given = tomllib.loads(STEPPER.read_text(encoding="utf-8"))["machine"][STEPPER.stem]
    assert "motor_turns_per_spool_turn" not in given, "the motor is not on the spool's shaft; this test is void"
    assert full * microsteps == product == given["steps_per_spool_turn"]
    listed = next(row for row in ROWS if row["part"] == "stepper motor")["rating"]
    assert f"{full} full steps a turn" in listed
    driver = next(row for row in ROWS if row["ref"] == DRIVER)["note"]
    assert "current of a phase and microsteps that can be set" in driver


def test_a_guard_that_drops_the_motor_is_tried_with_power_and_shut_again() -> None:
    seventh = STEP_2.partition(" 7. ")[2]
    assert seventh.startswith('With `guard_drops_motor`: press "motor on", open the guard: **K1 drops**')
    assert "Shut it: **K1 stays off**" in seventh


def test_what_the_lamp_leaves_in_the_capacitor_is_no_wrong_reading_on_the_second_day() -> None:
    told_v = float(re.search(r"A1 VM less than ([\d.]+) V", STEP_2)[1])
    lamp_v = float(re.match(r"([\d.]+) V", next(row for row in ROWS if row["ref"] == "H0")["rating"])[1])
    # a red LED stops some 0.4 V below its voltage at 20 mA: from memory
    assert lamp_v - 0.4 < told_v <= lamp_v


def test_the_plug_goes_in_again_only_when_what_the_capacitors_hold_has_let_go() -> None:
    """They stand on the coil's side of the fuse, and the coil holds itself by its own contact."""
    sixth = STEP_2.partition(" 6. ")[2].partition(" 7. ")[0]
    assert sixth.index("Once it has dropped and H0 is out") < sixth.index("plug it in again")
    nets = circuit(HARDWARE / "machines" / "pico-dc.toml").nets().values()
    assert "K1.A1" in beyond(nets, "C0.+", MAIN, STOP, HOLD)
    assert "K1.A1" not in beyond(nets, "C0.+", STOP, START, HOLD)
