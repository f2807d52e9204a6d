"""The firmware on a board, from the installation to the last pulse, with its motor's pins watched all the way.

Run by hand: `pytest tests/board --board-port PORT`. The tests build on one another in this order, so that a
board is installed once; each begins by bringing it to a known state.
"""

from __future__ import annotations

import json
import random
import time
from typing import TYPE_CHECKING

import pytest

from board.desk import SLOWER
from reelwright.device.client import RefusedError
from reelwright.device.job_values import job_values
from reelwright.device.patience import patience
from reelwright.install.manifest import firmware_version
from reelwright.operation.resume import memory_of
from reelwright.profiles import build_job
from reelwright.winding.plan import make_plan
from windcore.ticks import WATCHDOG_MS
from windlink import codes
from windlink.pins import capabilities

if TYPE_CHECKING:
    from board.desk import Desk
    from reelwright.device.client import Client

FULL_RATE = 24  # pulses a second of the shaft that is not there, at full drive
CRUISE_RPM = 30  # 10 pulses a second
WIND_S = 120.0


def job_for(desk: Desk, turns: int, pause_every_layer: bool = False) -> list[int]:
    """The values of a job of so many turns on the desk's machine."""
    tables = {
        "take_up": {"barrel_diameter_mm": 80, "flange_diameter_mm": 200, "inside_width_mm": 63},
        "strand": {"diameter_mm": 1.75},
        "lay": {"rise": 1.0},
        "machine": {
            "turns_per_layer": str(desk.machine.machine.layer_turns),
            "pulses_per_turn": desk.machine.machine.pulses_per_turn,
            "sensor": "quadrature",
            "max_spool_rpm": 60,
            "spool_rpm": CRUISE_RPM,
            "no_load_rpm": 60 * FULL_RATE / desk.machine.machine.pulses_per_turn,
            "fitted": [],
            "on_link_loss": "wind_on",
        },
        "target": {"turns": turns, "pause_every_layer": pause_every_layer},
    }
    job = build_job(tables)
    return job_values(job, make_plan(job))


def new_job_id() -> int:
    """One that the board has not wound: it takes none twice."""
    return random.randrange(1, 1 << 29)


def wait_for(client: Client, *states: int) -> dict[str, int]:
    """The winder's status once it is in one of these states."""
    until_s = time.monotonic() + WIND_S * patience()
    while time.monotonic() < until_s:
        client.listen(0.05)
        status = client.request("status")
        if status["state"] in states:
            return status
    pytest.fail(f"not in state {states} within {WIND_S * patience():.0f} s: {status}. {SLOWER}")


def let_go_of_its_job(client: Client) -> None:
    """Have the winder forget a wind that was interrupted: it keeps one over any restart."""
    status = client.request("status")
    if status["state"] == codes.TRIPPED:
        client.request("clear", status["reason"])
        status = client.request("status")
    if status["state"] not in (codes.EMPTY, codes.FINISHED):
        client.request("abandon", status["job_id"])


def why(client: Client) -> str:
    """What the winder says of a trip, and of its longest pass."""
    return f"{client.request('trip')} {client.request('counters')}"


def once_it_stands(client: Client, verb: str, *values: int) -> None:
    """Ask for what a winder does once it is sure that its spool stands, which takes it a while after a restart."""
    until_s = time.monotonic() + WIND_S * patience()
    while True:
        try:
            client.request(verb, *values)
            return
        except RefusedError as refused:
            if refused.code != codes.STILL_TURNS or time.monotonic() > until_s:
                raise
            client.listen(0.3)


def forget_the_last_job(client: Client, desk: Desk) -> None:
    """Put an ended job in the place of one that was interrupted, which a winder remembers over any restart."""
    let_go_of_its_job(client)
    memory = memory_of(client)
    if memory is None or not memory.under_way:
        return
    job_id = new_job_id()
    client.load(job_id, job_for(desk, 40))
    once_it_stands(client, "start", job_id)
    client.request("abandon", job_id)
    ended = wait_for(client, codes.FINISHED, codes.TRIPPED)
    if ended["state"] == codes.TRIPPED:
        # no shaft has turned; a trip of what was being abandoned is cleared to its end
        assert ended["reason"] == codes.NO_PULSES, client.request("trip")
        once_it_stands(client, "clear", codes.NO_PULSES)
    assert client.request("status")["state"] == codes.FINISHED


def turning(desk: Desk, shaft: list[int], client_s: float = 3.0) -> None:
    """Leave the board in the middle of a wind."""
    desk.to_prompt()
    desk.start_shaft(shaft, FULL_RATE)
    with desk.client() as client:
        let_go_of_its_job(client)
        job_id = new_job_id()
        client.load(job_id, job_for(desk, 40))
        once_it_stands(client, "start", job_id)
        until_s = time.monotonic() + client_s * patience()
        while time.monotonic() < until_s:
            client.listen(0.05)
            status = client.request("status")
        assert status["state"] == codes.WINDING, why(client)
        assert status["pulses"] > 0


def test_the_firmware_is_installed_and_says_who_it_is(installed: Desk) -> None:
    with installed.client() as client:
        winder = client.hello()
        assert winder.firmware == firmware_version()
        assert winder.board == installed.machine.board.facts.kind
        wanted = capabilities(installed.pins)
        assert winder.capabilities & wanted == wanted
        assert client.request("status")["state"] in (codes.EMPTY, codes.TRIPPED)


def test_installed_again_it_sends_nothing_twice(installed: Desk) -> None:
    done = installed.command("install", "--port", installed.port_name)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    assert "1 of " not in done.stdout, done.stdout


def test_the_motor_is_low_after_a_start_and_after_ctrl_c(installed: Desk) -> None:
    installed.reset()
    with installed.client():
        pass
    # mpremote itself presses Ctrl-C, and a watchdog would bite whoever looked later
    assert installed.motor_is_low()


def test_a_short_wind_ends_on_its_exact_pulse_with_the_motor_low(installed: Desk, shaft: list[int]) -> None:
    installed.to_prompt()
    installed.start_shaft(shaft, FULL_RATE)
    values = job_for(installed, 8, pause_every_layer=True)
    with installed.client() as client:
        let_go_of_its_job(client)
        job_id = new_job_id()
        client.load(job_id, values)
        once_it_stands(client, "start", job_id)
        waiting = wait_for(client, codes.WAITING, codes.TRIPPED)
        assert (waiting["state"], waiting["pulses"]) == (codes.WAITING, 80), why(client)
        client.request("go_on", job_id, waiting["wait"])
        ended = wait_for(client, codes.FINISHED, codes.TRIPPED)
        assert (ended["state"], ended["pulses"]) == (codes.FINISHED, 160), why(client)
        print(f"longest pass of its loop: {client.request('counters')['longest_loop_ms']} ms")
    installed.press_ctrl_c()
    assert installed.motor_is_low()


def test_ctrl_c_in_mid_wind_turns_the_motor_off(installed: Desk, shaft: list[int]) -> None:
    turning(installed, shaft)
    installed.press_ctrl_c()
    assert installed.motor_is_low()


def test_a_soft_reset_with_the_motor_on_turns_it_off(installed: Desk) -> None:
    """The chip's own way would leave the pin at whatever level it has: boot.py drives it low."""
    installed.to_prompt()
    pwm = installed.pins["motor_pwm"]
    installed.mpremote(
        "exec", f"import machine; machine.PWM(machine.Pin({pwm}), freq=20000, duty_u16=45000)", "+", "soft-reset"
    )
    assert installed.motor_is_low()


def test_a_restart_for_an_upload_leaves_the_port_free_and_the_motor_low(installed: Desk) -> None:
    installed.to_prompt()
    time.sleep(2 * WATCHDOG_MS / 1000 * patience())  # none bites here
    assert installed.motor_is_low()
    installed.reset()
    with installed.client() as client:
        assert client.hello().cause == codes.COMMANDED


@pytest.mark.usefixtures("jumpers")
def test_the_loopback_counts_what_it_was_given(installed: Desk) -> None:
    installed.reset()
    with installed.client() as client:
        forget_the_last_job(client, installed)
    installed.reset()
    with installed.client():
        pass
    done = installed.command("checkup", "--loopback", "--port", installed.port_name, "--json")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    told = json.loads(done.stdout)["loopback"]
    assert told["highest_pulses_s"] >= 500, told
