"""What the list says of the motor's supply, of contacts and of signals, against the drawings and the page's sums."""

from __future__ import annotations

import re

import pytest

from hardware_page import FLOWING, ROWS, numbers
from reelwright.profiles.toml_files import read_toml
from wired_machines import HARDWARE
from wiring.circuit import (
    BUZZER_OHM,
    CONTACT_OHM,
    CONTACT_PULL_UP_OHM,
    DRIVER,
    GUARD_NETS,
    LIVE_RESISTOR,
    PARTS,
    PLUGS,
    POWER_NETS,
    POWER_PARTS,
    WIRES,
)
from wiring.reading import circuit_of


def test_the_buzzer_sounds_on_the_steady_voltage_that_the_board_gives() -> None:
    """The board drives its pin high for as long as it shall sound: a passive one would click once."""
    row = next(row for row in ROWS if row["ref"] == "H2")
    assert row["rating"].startswith("active"), row
    sounds_v, most_ma = numbers(row["rating"])
    assert 3.3 - most_ma / 1000 * BUZZER_OHM >= sounds_v
    assert most_ma <= 4  # of an RP2040's pin at its usual strength: RP2040 Datasheet, 2.19.4, from memory


def test_the_capacitor_at_the_driver_bears_twice_the_motors_supply() -> None:
    """A motor that brakes lifts its supply above what the fuse lets in: common practice."""
    row = next(row for row in ROWS if row["ref"] == "C0")
    rated = [tuple(map(float, pair)) for pair in re.findall(r"(\d+) V for (?:a supply of )?(\d+) V", row["rating"])]
    supplies = next(row for row in ROWS if row["ref"] == "G1")["rating"]
    assert [supply for _, supply in rated] == [12, 24] == numbers(supplies)[:2]
    assert all(volts >= 2 * supply for volts, supply in rated)


def test_the_suppressor_lets_the_supply_be_and_holds_what_capacitor_and_driver_bear() -> None:
    bears = {
        ref: {
            supply: volts
            for volts, supply in re.findall(
                r"(\d+) V for (?:a supply of )?(\d+) V", next(row for row in ROWS if row["ref"] == ref)["rating"]
            )
        }
        for ref in ("C0", "A1")
    }
    rating = next(row for row in ROWS if row["ref"] == "D2")["rating"]
    told = re.findall(r"of (\d+) V bears (\d+) V for good and holds (\d+) V", rating)
    assert {supply: holds for supply, _, holds in told} == bears["C0"] == bears["A1"]
    holds = " and ".join(
        f"{volts} V of {whose} {supply} V"
        for (supply, _, volts), whose in zip(told, ("a supply of", "one of"), strict=True)
    )
    assert f"It holds {holds}: a driver that bears less needs a lower `deceleration_rpm_s` instead" in FLOWING
    # a finished supply is within a tenth of its plate: common practice
    assert all(float(stands) > 1.1 * float(supply) for supply, stands, _ in told)


def test_the_page_warns_that_the_listed_fuse_may_never_blow() -> None:
    """A supply that limits its current below what the fuse needs protects in its place, and for good."""
    supply, fuse = (next(row for row in ROWS if row["ref"] == ref) for ref in ("G1", "F1"))
    rated = float(re.search(r"current of the motor x ([\d.]+)", supply["rating"])[1])
    least, most = map(float, re.search(r"rated current x ([\d.]+) to ([\d.]+)", fuse["rating"]).groups())
    blows = float(re.search(r"less than ([\d.]+) x F1 never blows it", supply["note"])[1])
    # of finished supplies that limit by a constant current, over their rating: from memory of data sheets
    lowest, highest = 1.05, 1.5
    assert highest * rated < blows * least < blows * most, "it blows; this test is void"
    cautions = FLOWING.partition("## Cautions")[2].partition("## What a winder has")[0]
    told = (
        f"G1 is rated at {rated:g} times the motor's current, and such a supply limits at {lowest} to {highest} times"
    )
    assert told in cautions
    assert f"so at {lowest * rated:.1f} to {highest * rated:g} times the motor's" in cautions
    blown = (
        f"a slow fuse of {least:g} to {most:g} times it is sure to blow at {blows * least:.1f} to {blows * most:.1f}"
    )
    assert blown in cautions


def test_all_that_carries_the_motors_current_bears_that_at_which_the_supply_limits() -> None:
    """The list's factors of the motor's current may fall short of it; the fuse does not help."""
    carry = ("motor driver", "contactor or power relay", "terminal", "wire for the motor")
    rows = [row for row in ROWS if row["part"] in carry]
    assert len(rows) == len(carry)
    for row in rows:
        assert "at which G1 limits" in row["rating"] + row["note"], row["part"]
    driver = next(row for row in ROWS if row["ref"] == "A1")["rating"]
    rated = float(
        re.search(r"current of the motor x ([\d.]+)", next(row for row in ROWS if row["ref"] == "G1")["rating"])[1]
    )
    assert f"G1 limits (a stalled motor), which may be {1.5 * rated:g} times the motor's" in driver
    assert "Take the limit from G1's data sheet: driver, K1, wire and terminals bear it for good" in FLOWING


def test_the_emergency_stop_on_the_list_has_as_many_contacts_as_the_drawing() -> None:
    row = next(row for row in ROWS if row["ref"] == "S0")
    nets = circuit_of(read_toml(HARDWARE / "machines" / "pico-dc.toml"), "a").nets()
    contacts = sum(terminal.startswith("S0.") for terminals in nets.values() for terminal in terminals) / 2
    assert contacts == 2
    assert "two contacts, each of which opens positively" in row["rating"]
    assert "DC rating of the coil" in row["rating"]
    assert "21 to 22 gold, fit for as little as" in row["rating"]


@pytest.mark.parametrize("ref", sorted({wire.part for wire in WIRES.values() if wire.way == "contact"} | {"S0"}))
def test_each_contact_is_rated_for_as_little_as_its_wire_gives_it(ref: str) -> None:
    """Below its least load a contact does not break the film on its faces, and a stop is told that nobody gave."""
    rating = next(row for row in ROWS if row["ref"] == ref)["rating"]
    volts, milliamperes = map(float, re.search(r"as little as ([\d.]+) V ([\d.]+) mA", rating).groups())
    # resistors of 5 % by the list; a board's supply within 3 %: common practice
    least_ma = 0.97 * 3.3 / (1.05 * (CONTACT_OHM + CONTACT_PULL_UP_OHM)) * 1000
    assert volts <= 3.3
    assert milliamperes <= least_ma
    assert "gold" in rating


def test_a_guard_switch_that_drops_the_motor_has_on_the_list_the_contact_that_the_drawing_numbers() -> None:
    given = read_toml(HARDWARE / "machines" / "pico-dc.toml")
    given["wiring"]["guard_drops_motor"] = True
    nets = circuit_of(given, "a").nets()
    assert {"S4.21"} <= nets["fused"]
    assert {"S4.22"} <= nets["guarded"]
    row = next(row for row in ROWS if row["ref"] == "S4")
    # 1 to 2 is drawn closed with the guard: of a switch that the guard forces open that is a NC contact, too
    told = [terminals for terminals in nets.values() if terminals & {"S4.1", "S4.2"}]
    assert len(told) == 2
    assert not any(terminals & nets["fused"] | terminals & nets["guarded"] for terminals in told)
    assert PARTS["S4"][0] == "guard switch, closed with the guard"
    assert "two NC contacts that the opening guard forces open" in row["note"]
    assert "ISO 14119), closed while it is shut: 21 to 22, in series with S0, DC rating of the coil" in row["note"]
    assert "and 1 to 2, gold" in row["note"]


def test_a_crank_needs_no_part_of_the_motors_supply() -> None:
    note = next(row for row in ROWS if row["part"] == "crank")["note"]
    assert set(re.findall(r"[A-Z]\d", note.partition("then no ")[2])) == {
        DRIVER,
        PLUGS[DRIVER][0],
        LIVE_RESISTOR.ref,
        *POWER_PARTS,
    }


@pytest.mark.parametrize("guard", [{}, GUARD_NETS])
def test_there_is_a_terminal_for_each_wire_end_where_several_of_the_motors_supply_meet(
    guard: dict[str, tuple[str, ...]],
) -> None:
    nets = {net: set(terminals) for net, terminals in (POWER_NETS | guard).items()}
    for number, net in enumerate(LIVE_RESISTOR.ends, 1):
        nets[net].add(f"{LIVE_RESISTOR.ref}.{number}")
    ends = sum(len(terminals) for terminals in nets.values() if len(terminals) >= 3)
    assert 15 < ends <= int(next(row for row in ROWS if row["part"] == "terminal")["quantity"])
