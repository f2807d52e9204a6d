"""The cable is pulled in the middle of a wind, and plugged in again: the host goes on following, and moves nothing."""

from __future__ import annotations

import json
import math
import os
import signal
import sys
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.cli.wind import wind
from reelwright.errors import EXIT_DONE, EXIT_PAUSED, LinkLostError
from reelwright.profiles import load_job
from reelwright.simulator import Simulator, SimulatorOptions
from reelwright.views.json_lines import JsonView
from reelwright.winding.plan import make_plan
from simulated.relay import Relay
from simulated.winder import listed, run, write_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from reelwright.operation.wind import Ending

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stands in for a serial port with a pty")

TARGET = 1050


def half_wound(heard: bytes) -> bool:
    return b"+2 layer_done " in heard


def just_ended(heard: bytes) -> bool:
    return b" ended " in heard


class Wound:
    """One wind through a relay: its ending or its failure, and what host and winder said."""

    def __init__(
        self,
        folder: Path,
        monkeypatch: pytest.MonkeyPatch,
        *,
        link_loss: str,
        away_s: float,
        pull_when: Callable[[bytes], bool] = half_wound,
        link_wait_s: float = 20.0,
        interrupted: bool = False,
    ) -> None:
        monkeypatch.setenv("REELWRIGHT_HOME", str(folder))
        job = load_job(write_job(folder, link_loss=link_loss))
        plan = make_plan(job)
        self.ending: Ending | None = None
        self.failure = ""
        with (
            Simulator(job, plan, SimulatorOptions(seed=5, pace=20)) as simulator,
            Relay(simulator.port, folder, pull_when, away_s) as relay,
        ):
            monkeypatch.setattr("serial.tools.list_ports.comports", relay.comports)
            if interrupted:
                relay.on_pull = lambda: os.kill(os.getpid(), signal.SIGINT)
            try:
                self.ending = wind(plan, relay.name, as_json=True, go_on_at_stops=True, link_wait_s=link_wait_s)
            except LinkLostError as lost:
                self.failure = str(lost)
            self.truth = simulator.truth()
            self.from_host = relay.from_host
        (self.row,) = listed(folder)
        self.record: dict[str, Any] = json.loads(run(folder, "ledger", "show", "--json").stdout)
        self.events = [each for each in self.record["events"] if each["number"]]

    def every_event_once(self) -> bool:
        return [each["number"] for each in self.events] == list(range(1, len(self.events) + 1))


@pytest.mark.parametrize("pull_when", [half_wound, just_ended])
def test_a_winder_that_winds_on_is_followed_to_its_end_under_its_new_name(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    pull_when: Callable[[bytes], bool],
) -> None:
    silences: list[JsonView] = []
    monkeypatch.setattr(JsonView, "silence", lambda view: silences.append(view))
    wound = Wound(tmp_path, monkeypatch, link_loss="wind_on", away_s=0.6, pull_when=pull_when)
    assert len(silences) == 1
    assert wound.ending is not None, wound.failure
    assert wound.ending.exit_code == EXIT_DONE
    told = capsys.readouterr().err
    assert "went away. Waits 20 s for it to come back" in told
    assert "The winder is back, at " in told
    assert "ttyWINDER2" in told
    assert abs(int(str(wound.truth["true_pulses"])) - TARGET) <= 1
    assert wound.record["counted_pulses"] == wound.truth["true_pulses"]
    assert wound.every_event_once()
    assert [each["verb"] for each in wound.events] == ["began", "layer_done", "layer_done", "ended"]
    assert not wound.row["open"]


def test_a_winder_that_paused_meanwhile_stays_at_rest_when_the_host_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wound = Wound(tmp_path, monkeypatch, link_loss="pause", away_s=1.0)
    assert wound.ending is not None, wound.failure
    assert wound.ending.exit_code == EXIT_PAUSED
    assert wound.ending.held
    assert len(wound.from_host) == 2
    asked = {line.split(b" ")[1] for line in wound.from_host[1].split(b"\n") if b" " in line}
    assert asked <= {b"hello", b"limits", b"status", b"events", b"ack"}, "nothing that moves the spool"
    assert wound.truth["motor"] == "off"
    assert wound.record["counted_pulses"] == wound.truth["true_pulses"] < TARGET
    assert wound.events[-1]["fields"]["stop"] == "link_silent"
    assert wound.every_event_once()


def test_a_winder_that_does_not_come_back_leaves_the_last_count_in_the_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wound = Wound(tmp_path, monkeypatch, link_loss="wind_on", away_s=math.inf, link_wait_s=0.6)
    assert "went away" in wound.failure
    assert wound.record["uncertain"] is True
    assert wound.row["open"], "it may still be picked up"
    assert 300 < wound.record["counted_pulses"] < TARGET


def test_ctrl_c_ends_the_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wound = Wound(tmp_path, monkeypatch, link_loss="wind_on", away_s=math.inf, link_wait_s=3600.0, interrupted=True)
    assert "went away" in wound.failure
    assert wound.row["open"]
