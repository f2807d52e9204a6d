"""Whole winds, host and firmware and plant, over a cable that hits a fifth of all bytes in both directions.

The truth file is the judge: it keeps each event as the winder told it, before the cable.

The suite winds a few. `REELWRIGHT_BAD_CABLE_WINDS=100 pytest -s tests/simulated/test_bad_cable.py` winds a hundred;
REELWRIGHT_SEED repeats a run.
"""

from __future__ import annotations

import json
import os
import random
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from reelwright.device.client import Client
from reelwright.ledger import open_ledger
from reelwright.operation.arrival import Arrival
from reelwright.operation.wind import Interrupts
from reelwright.profiles import load_job
from reelwright.simulator import SimulatorOptions
from reelwright.simulator.spec import machine_spec
from reelwright.winding.plan import make_plan
from simulated.stepped import SteppedWinder
from simulated.winder import run, simulated, wind, write_job
from windlink.codec import decode

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from reelwright.snapshot import Happening, Snapshot, WindResult

WINDS = int(os.environ.get("REELWRIGHT_BAD_CABLE_WINDS", "8"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
TARGET = 1050
TIMEOUT_S = 600  # of one command, on a computer that does much else


def told_events(truth: list[dict[str, Any]]) -> list[tuple[int, str, int]]:
    """Number, verb and count of every event that the winder told."""
    events = []
    for line in truth:
        if line["kind"] == "event":
            message, number, values = decode(line["line"].encode())
            events.append((number, message.verb, message.named(values)["pulses"]))
    return events


class Silent:
    """A face for nobody."""

    def __init__(self) -> None:
        self.notices: list[str] = []

    def progress(self, snapshot: Snapshot) -> None: ...

    def silence(self) -> None: ...

    def event(self, happening: Happening) -> None: ...

    def notice(self, text: str) -> None:
        self.notices.append(text)

    def result(self, result: WindResult) -> None: ...


def wind_in_process(folder: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """One wind of host, firmware and plant in this process, and everything about it checked; the figures of it."""
    folder.mkdir()
    job = load_job(write_job(folder, pauses="[1, 2]", link_loss="wind_on"))
    plan = make_plan(job)
    truth_path = folder / "truth.jsonl"
    options = SimulatorOptions(seed=seed, faults=(("noise", 0.0),), truth_path=truth_path)
    view = Silent()
    with (
        SteppedWinder({**machine_spec(job, plan, options), "tcp_port": 0}) as winder,
        open_ledger(folder / "ledger.sqlite3") as ledger,
    ):
        for module in ("wind", "arrival"):
            monkeypatch.setattr(f"reelwright.operation.{module}.time", winder.time)
        client = Client(winder, clock=winder.clock)
        interrupts = Interrupts()
        arrival = Arrival(job, plan, client, ledger, view, client.hello(), winder.name, interrupts)
        under_way = arrival.begin(clear=None, drop_held=False)
        keys = SimpleNamespace(at_end=False, poll=lambda: None)
        ending = under_way.follow(
            keys,
            interrupts,
            go_on_at_stops=True,
            stay_on_trip=False,
            link_wait_s=60.0,
        )
        assert ending.exit_code == 0, seed
        (record,) = ledger.winds()
        events = [each.happening for each in ledger.events(record.job_id)]
        seconds = winder.clock()
    truth = [json.loads(line) for line in truth_path.read_text().splitlines()]
    check_truth(truth, seed)
    assert not record.open
    assert record.result is not None
    assert record.result.counted_pulses == truth[-1]["true_pulses"], seed
    recorded = [(each.number, each.verb, each.fields["pulses"]) for each in events if each.number]
    assert recorded == told_events(truth), f"seed {seed}: every event once, in its order"
    again = sum("The winder is back" in notice for notice in view.notices)
    return {"again": again, "events": len(recorded), "cable": truth[-1]["cable"], "seconds": seconds}


def check_truth(truth: list[dict[str, Any]], seed: int) -> None:
    """The wind truly ended on its pulse, and the winder numbered its events without a gap."""
    assert truth[-1]["kind"] == "end"
    assert abs(truth[-1]["true_pulses"] - TARGET) <= 1, seed
    assert truth[-1]["peak_overshoot_pulses"] <= 1, seed
    numbers = [number for number, _, _ in told_events(truth)]
    assert numbers == list(range(1, len(numbers) + 1)), seed


def test_every_wind_ends_on_its_exact_pulse_with_every_event_recorded_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    print(f"seed {SEED}")
    draw = random.Random(SEED)
    wound = [wind_in_process(tmp_path / str(n), draw.randrange(1 << 30), monkeypatch) for n in range(WINDS)]
    for way, name in enumerate(("to the winder", "from the winder")):
        cables = [each["cable"][way] for each in wound]
        sums = {kind: sum(cable[kind] for cable in cables) for kind in cables[0]}
        passed = sums.pop("bytes")
        shares = ", ".join(f"{kind} {count / passed:.1%}" for kind, count in sums.items())
        print(f"{name}: {passed} bytes, hit {sum(sums.values()) / passed:.1%}: {shares}")
        assert all(sums.values()), "each kind of fault was met"
    events = sum(each["events"] for each in wound)
    again = sum(each["again"] for each in wound)
    seconds = sum(each["seconds"] for each in wound) / WINDS
    print(
        f"{WINDS} winds of {seconds:.0f} s, {events} events recorded once, none missing;"
        f" the link was given up and taken up again {again} times"
    )


def test_the_command_winds_over_it_too(tmp_path: Path) -> None:
    print(f"seed {SEED}")
    job = write_job(tmp_path, pauses="[1, 2]", link_loss="wind_on")
    truth_path = tmp_path / "truth.jsonl"
    options = ("--pace", "max", "--fault", "noise@0", "--truth", str(truth_path), "--seed", str(SEED))
    with simulated(job, tmp_path, *options) as port:
        code, told, err = wind(job, port, tmp_path, "--go-on", timeout_s=TIMEOUT_S)
    assert code == 0, err
    truth = [json.loads(line) for line in truth_path.read_text().splitlines()]
    check_truth(truth, SEED)
    assert told[-1]["counted_pulses"] == truth[-1]["true_pulses"]
    record = json.loads(run(tmp_path, "ledger", "show", "--json").stdout)
    recorded = [(each["number"], each["verb"], each["fields"]["pulses"]) for each in record["events"] if each["number"]]
    assert recorded == told_events(truth)
