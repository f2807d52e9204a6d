"""The wiring drawn for each machine file is what the file says, and the command draws it."""

from __future__ import annotations

import re
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from reelwright.profiles.toml_files import read_toml
from wired_machines import HARDWARE, MACHINES, circuit, description, every_machine, joined_through, profile
from wiring.boards import BOARDS, terminal
from wiring.circuit import INVERTER, PARTS, PLUGS, POWER_PARTS, WIRES
from wiring.drawing import drawn, read_components, read_parts, read_wires
from wiring.reading import circuit_of

if TYPE_CHECKING:
    from pathlib import Path


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
