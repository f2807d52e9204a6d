"""What a winder still keeps of a job, the next command takes into the ledger, or leaves with the winder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation import arrival
from reelwright.profiles import load_job
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.winding.plan import make_plan
from simulated.lockstep import HostBench, LockstepWinder
from simulated.winder import write_job

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_events_that_do_not_get_through_are_not_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = load_job(write_job(tmp_path, link_loss="wind_on"), {})
    plan = make_plan(job)
    with (
        LockstepWinder(machine_spec(job, plan, SimulatorOptions(seed=5))) as winder,
        SqliteLedger(tmp_path / "ledger.sqlite3", now=winder.now) as ledger,
    ):
        bench = HostBench(winder, job, plan, ledger)
        bench.go_on_and_leave()
        winder.pass_periods(6000)
        (left,) = ledger.winds()
        shorter = load_job(tmp_path / "job.toml", {"target": {"layers": 1.5}})
        other = HostBench(winder, shorter, make_plan(shorter), ledger)
        with monkeypatch.context() as patch:
            patch.setattr(arrival, "DRAIN_S", 0.0)
            name, _ = other.wind_error()
        assert name == "LinkLostError"
        assert ledger.events(left.job_id) == []
        other.wind()
        verbs = [each.happening.verb for each in ledger.events(left.job_id)]
        assert verbs == ["began", "layer_done", "layer_done", "ended"]
