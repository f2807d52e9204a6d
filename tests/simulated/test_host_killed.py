"""The host is killed in the middle; the winder keeps to its job, and the next command puts everything right."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.device.client import Client
from reelwright.device.port import Port
from simulated.winder import listed, run, simulated, start_wind, wind, write_job
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path

TARGET = 1050
PACE = "20"


def killed_when(program: Any, moment: str) -> None:
    """Kill the host with SIGKILL as soon as it has told what the moment names."""
    name, _, value = moment.partition(" ")
    for line in program.stdout:
        told = json.loads(line)
        if told["kind"] == "progress" and name == "turns" and told["turns"] >= float(value):
            break
        if told["kind"] == "event" and told["verb"] == name and (not value or str(told.get("layer")) == value):
            break
    program.kill()
    program.communicate(timeout=10)


def state_at_rest(port_name: str) -> dict[str, Any]:
    """What the winder says once it rests, asked by nobody that it takes for its host for long."""
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        port = Port(port_name)
        try:
            client = Client(port)
            client.hello()
            status = client.request("status")
        finally:
            port.close()
        if status["state"] not in (codes.WINDING, codes.EASING):
            return status
        # longer than the silence that the job allows, at the winder's pace
        time.sleep(0.4)
    raise AssertionError("the winder does not rest")


def ledger_of(home: Path) -> dict[str, Any]:
    winds = listed(home)
    assert len(winds) == 1, "one wind, however often it was picked up"
    return json.loads(run(home, "ledger", "show", str(winds[0]["job_id"]), "--json").stdout)


@pytest.mark.parametrize(
    ("link_loss", "moment"),
    [
        ("pause", "began"),
        ("pause", "turns 0.5"),
        ("pause", "turns 20.5"),
        ("pause", "layer_done 1"),
        ("pause", "turns 51.5"),
        ("wind_on", "began"),
        ("wind_on", "turns 10"),
        ("wind_on", "layer_done 2"),
        ("trip", "turns 5"),
        ("trip", "layer_done 1"),
    ],
)
def test_the_winder_does_what_the_job_says_and_the_next_command_picks_the_wind_up(
    tmp_path: Path, link_loss: str, moment: str
) -> None:
    job = write_job(tmp_path, link_loss=link_loss)
    with simulated(job, tmp_path, "--pace", PACE) as port:
        killed_when(start_wind(job, port, tmp_path), moment)
        time.sleep(0.5)
        status = state_at_rest(port)
        expected = {"pause": codes.WAITING, "wind_on": codes.FINISHED, "trip": codes.TRIPPED}[link_loss]
        if moment != "turns 51.5":  # so near its end, it may be there before the silence is long enough
            assert status["state"] == expected
        if status["state"] == codes.TRIPPED:
            code, _, err = wind(job, port, tmp_path)
            assert code == 4
            assert "--clear link_lost" in err
        clear = ("--clear", "link_lost") if status["state"] == codes.TRIPPED else ()
        code, told, err = wind(job, port, tmp_path, *clear)
    assert code == 0, err
    result = told[-1]
    assert result["kind"] == "result"
    assert result["state"] == "finished"
    assert result["target_pulses"] == TARGET
    assert abs(result["overshoot_pulses"]) <= 1
    record = ledger_of(tmp_path)
    numbers = [event["number"] for event in record["events"] if event["number"]]
    assert numbers == list(range(1, len(numbers) + 1)), "every event once, none missing"
    assert record["counted_pulses"] == result["counted_pulses"]
    assert record["open"] is False
