"""What the screen shows stands in the ledger already: a view looks into it at every call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from reelwright.cli.wind import wind
from reelwright.errors import EXIT_DONE
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.profiles import load_job
from reelwright.simulator import Simulator, SimulatorOptions
from reelwright.winding.plan import make_plan
from simulated.winder import write_job

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from reelwright.snapshot import Happening, Snapshot, WindResult


class LooksIntoTheLedger:
    """A face that shows nothing, and reads the ledger through a connection of its own."""

    def __init__(self, path: Path) -> None:
        self._ledger = SqliteLedger(path)
        self.looked = {"progress": 0, "event": 0, "result": 0}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._ledger.close()

    def progress(self, snapshot: Snapshot) -> None:
        self.looked["progress"] += 1
        count = self._ledger.counts(self._job_id())[-1]
        assert (count.pulses, count.state) == (snapshot.pulses, snapshot.state)

    def silence(self) -> None:
        """Nothing is shown."""

    def event(self, happening: Happening) -> None:
        self.looked["event"] += 1
        assert happening in [each.happening for each in self._ledger.events(self._job_id())]

    def result(self, result: WindResult) -> None:
        self.looked["result"] += 1
        record = self._ledger.find(result.job_id)
        assert record is not None
        assert record.result == result

    def notice(self, text: str) -> None:
        assert text

    def _job_id(self) -> int:
        return self._ledger.winds(1)[0].job_id


def test_the_ledger_is_written_before_anything_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path))
    # counts are kept once a second; here each one is, so that each can be looked for
    monkeypatch.setattr("reelwright.operation.wind.COUNT_EVERY_S", 0.0)
    view = LooksIntoTheLedger(tmp_path / "ledger.sqlite3")

    def chosen(**_: Any) -> LooksIntoTheLedger:
        return view

    monkeypatch.setattr("reelwright.views.choose_view", chosen)
    job = load_job(write_job(tmp_path, link_loss="wind_on", pauses="[1, 2]"))
    plan = make_plan(job)
    with Simulator(job, plan, SimulatorOptions(seed=5, pace=20)) as simulator:
        ending = wind(plan, simulator.port, as_json=False, go_on_at_stops=True)
    assert ending.exit_code == EXIT_DONE
    print(view.looked)
    assert view.looked["progress"] > 50
    assert view.looked["event"] == 8  # three began, two layers, two stops, the end
    assert view.looked["result"] == 1
