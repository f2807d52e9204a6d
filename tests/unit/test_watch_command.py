"""What `watch` tells of a winder, as it is heard."""

from __future__ import annotations

import json
from collections import deque
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from reelwright.cli import watch
from reelwright.device.client import Received
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger
from winding_jobs import plan_of
from windlink import codes
from windlink.frame import EVENT, PROGRESS

if TYPE_CHECKING:
    from pathlib import Path

STATUS = {"job_id": 7, "state": codes.WINDING, "pulses": 600, "layer": 1, "reason": 0}


class Winder:
    """A winder that winds at 100 rpm, and tells an event before its first progress."""

    keep_alive_due = False

    def __init__(self, port: object) -> None:
        del port
        self.inbox: deque[Received] = deque()
        self._told = [
            Received(EVENT, "began", 1, {"time_ms": 0, "job_id": 7, "pulses": 0}),
            Received(PROGRESS, "progress", 1, {"state": codes.WINDING, "pulses": 610, "rate": 10000, "layer": 1}),
        ]

    def hello(self) -> None:
        """Answers."""

    def request(self, verb: str) -> dict[str, Any]:
        return {"status": STATUS, "events": {"newest": 1, "acknowledged": 0}}[verb]

    def listen(self) -> None:
        if self._told:
            self.inbox.append(self._told.pop(0))


class Port:
    """A port that is there."""

    def __init__(self, name: str) -> None:
        self.name = name

    def close(self) -> None:
        """Closes it."""


class RanOut(Winder):
    """A winder that stands since its strand ran out, and whose trip no host has heard."""

    def request(self, verb: str) -> dict[str, Any]:
        return {
            "trip": {"reason": codes.RUN_OUT, "value": 1, "limit": 0, "pulses": 600, "time_ms": 9000},
            "status": {**STATUS, "state": codes.TRIPPED, "pulses": 660, "reason": codes.RUN_OUT},
            "events": {"newest": 5, "acknowledged": 3},
        }[verb]


class ComesToRest(Winder):
    """A winder that comes to rest while it is watched; of its two events it tells the first, as nobody records it."""

    def request(self, verb: str) -> dict[str, Any]:
        state = codes.WINDING if self._told else codes.WAITING
        return {"status": {**STATUS, "state": state}, "events": {"newest": 2, "acknowledged": 0}}[verb]

    @property
    def keep_alive_due(self) -> bool:
        return not self._told


def looked(
    monkeypatch: pytest.MonkeyPatch, home: Path, winder: type[Winder], *more: str
) -> tuple[list[dict[str, Any]], str]:
    """What it tells, of one look where `more` says so: its objects, and its notices."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(home))
    monkeypatch.setattr("reelwright.device.client.Client", winder)
    monkeypatch.setattr("reelwright.device.port.Port", Port)
    plan = plan_of(machine={"pulses_per_turn": 60})
    with SqliteLedger(ledger_path()) as ledger:
        job = plan.job.to_dict()
        ledger.open_wind(7, job=job, plan={}, port="p", board="b", firmware="f", protocol="1.0", boot=11)
    done = CliRunner().invoke(watch.command, ["--port", "p", "--json", *more])
    return [json.loads(line) for line in done.stdout.splitlines()], done.stderr


def test_a_single_look_tells_the_speed_though_an_event_is_heard_first(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (told,), _ = looked(monkeypatch, tmp_path, Winder, "--once")
    # by hand: 100 pulses a second, 60 a turn
    assert told["rpm"] == pytest.approx(100)


def test_a_trip_that_nobody_has_recorded_leaves_its_doubt_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    result = looked(monkeypatch, tmp_path, RanOut, "--once")[0][-1]
    assert (result["doubts"], result["turns_lowest"], result["turns_highest"]) == (["run_out"], 10, 11)


def test_events_that_the_winder_keeps_for_a_wind_are_told_to_be_there(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A single look tells none of them, so that they are later than none."""
    _, notices = looked(monkeypatch, tmp_path, RanOut, "--once")
    # of five, three are recorded
    assert "The winder keeps 2 events for `wind` to tell and to record." in notices


def test_after_the_first_that_it_tells_the_others_are_later_ones(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    told, notices = looked(monkeypatch, tmp_path, ComesToRest)
    assert [each["number"] for each in told if each["kind"] == "event"] == [1]
    assert "The winder keeps 1 later event for" in notices
