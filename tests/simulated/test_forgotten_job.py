"""A job that its winder has forgotten, and a resumption that is broken off itself: none begins again from zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.errors import EXIT_DONE, EXIT_PAUSED
from reelwright.operation.forgotten import TrippedError
from reelwright.operation.resume import Resumption
from reelwright.profiles import load_job
from reelwright.winding.plan import make_plan
from simulated.lockstep import RESTART_PERIODS, HostBench, go_on_or_drop
from simulated.power_cuts import TARGET, at_the_stop, found, power_fails
from simulated.winder import write_job
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path


def forgotten(bench: HostBench) -> int:
    """A job that waits, on a winder that then loses all that it knew; the true count."""
    at_the_stop(bench)
    bench.winder.board.store._slots = [b"", b""]
    power_fails(bench)
    assert found(bench)["memory"] is None
    return bench.true_pulses


def test_a_forgotten_job_is_not_begun_again_on_its_own_strand(bench: HostBench) -> None:
    count = forgotten(bench)
    (record,) = bench.ledger.winds()
    assert bench.wind_error() == ("TrippedError", go_on_or_drop(record.job_id))
    bench.winder.pass_periods(200)
    assert bench.true_pulses == count
    assert bench.ledger.winds() == [record]
    assert bench.resume()[2] == EXIT_DONE


def test_a_forgotten_job_that_is_given_up_makes_room_for_the_next(bench: HostBench) -> None:
    forgotten(bench)
    assert bench.wind(drop_held=True) == EXIT_PAUSED
    new, dropped = bench.ledger.winds()
    assert (new.open, dropped.open) == (True, False)


def test_other_forgotten_jobs_are_told_in_one_line_and_hold_nothing_up(bench: HostBench, tmp_path: Path) -> None:
    for pauses in ("[1, 2]", "[2]"):
        job = load_job(write_job(tmp_path, link_loss="wind_on", pauses=pauses), {})
        other = HostBench(bench.winder, job, make_plan(job), bench.ledger)
        assert other.wind() == EXIT_PAUSED
        bench.winder.board.store._slots = [b"", b""]
        power_fails(bench)
    newest, oldest = bench.ledger.winds()
    assert bench.wind() == EXIT_PAUSED
    notes = [note for note in bench.view.notices if "unfinished on this port" in note]
    assert len(notes) == 1
    assert f"Job {newest.job_id} is unfinished" in notes[0]
    assert "So is an older one" in notes[0]
    assert str(oldest.job_id) not in notes[0]


def test_the_way_to_give_up_a_forgotten_job_names_no_trip_that_is_cleared(bench: HostBench, tmp_path: Path) -> None:
    job = load_job(write_job(tmp_path, link_loss="wind_on", pauses="[2]"), {})
    other = HostBench(bench.winder, job, make_plan(job), bench.ledger)
    assert other.wind() == EXIT_PAUSED
    bench.winder.board.store._slots = [b"", b""]
    power_fails(bench)
    bench.winder.strike("hang")
    bench.winder.pass_periods(RESTART_PERIODS)
    assert bench.client_status()["reason"] == codes.RESTARTED
    bench.begin_by(["wind", "a.toml", "--clear", "restarted"], clear="restarted")
    (note,) = [note for note in bench.view.notices if "unfinished on this port" in note]
    assert "`reelwright wind a.toml --port lockstep --drop-held` gives it up." in note


def test_a_forgotten_job_is_held_up_and_resumed_after_another_one_was_wound(bench: HostBench, tmp_path: Path) -> None:
    forgotten(bench)
    job = load_job(write_job(tmp_path, link_loss="wind_on", pauses="[]"), {})
    other = HostBench(bench.winder, job, make_plan(job), bench.ledger)
    assert other.wind() == EXIT_DONE
    assert bench.wind_error()[0] == "TrippedError"
    first = bench.ledger.winds()[-1]
    _, rejoin = bench.find(bench.job, first.job_id)
    assert rejoin.standing.best == first.last_pulses
    resumption, _ = bench.find(bench.job, first.job_id)
    resumption.carry_out(rejoin, rejoin.standing.best, 0.0, bench.view)
    assert bench.wind() == EXIT_DONE
    record = bench.ledger.find(first.job_id)
    assert record is not None
    assert record.result is not None
    assert record.result.outcome == "reached"
    assert record.result.counted_pulses == pytest.approx(TARGET, abs=1)


@pytest.mark.parametrize("restart", ["power_cut", "hang"])
def test_a_trip_that_is_not_there_is_refused_before_the_job_is_given_up(bench: HostBench, restart: str) -> None:
    at_the_stop(bench)
    bench.winder.strike(restart)
    bench.winder.pass_periods(RESTART_PERIODS)
    (record,) = bench.ledger.winds()
    with pytest.raises(TrippedError, match="is tripped by restarted, not by snag"):
        bench.begin_by(["wind", "a.toml"], clear="snag", drop_held=True)
    assert bench.ledger.winds() == [record]
    assert bench.client_status()["reason"] == codes.RESTARTED


def test_a_job_may_be_given_up_and_the_trip_of_the_restart_cleared_by_its_name_in_one(bench: HostBench) -> None:
    at_the_stop(bench)
    bench.winder.strike("hang")
    bench.winder.pass_periods(RESTART_PERIODS)
    bench.begin_by(["wind", "a.toml"], clear="restarted", drop_held=True)
    new, dropped = bench.ledger.winds()
    assert (new.open, dropped.open) == (True, False)


# --- a resumption that is broken off itself ------------------------------------------------------------------


def broken_off(bench: HostBench, monkeypatch: pytest.MonkeyPatch, *, forgets: bool) -> int:
    """Power fails at the stop, and the command that resumes dies once the winder has the job again, and before it has
    its count; that count. forgets: the winder's flash is lost too."""
    at_the_stop(bench)
    count = bench.true_pulses
    if forgets:
        bench.winder.board.store._slots = [b"", b""]
    power_fails(bench)
    with monkeypatch.context() as patch:
        patch.setattr(Resumption, "_recount", lambda *_: (_ for _ in ()).throw(SystemExit))
        with pytest.raises(SystemExit):
            bench.resume()
    status = found(bench)["status"]
    assert (status["state"], status["pulses"]) == (codes.LOADED, 0)
    return count


FORGETS = pytest.mark.parametrize("forgets", [False, True], ids=["winder remembers", "winder forgot"])


@FORGETS
def test_a_resumption_broken_off_before_its_count_starts_nothing_from_zero(
    bench: HostBench, monkeypatch: pytest.MonkeyPatch, forgets: bool
) -> None:
    count = broken_off(bench, monkeypatch, forgets=forgets)
    (record,) = bench.ledger.winds()
    assert bench.wind_error() == ("TrippedError", go_on_or_drop(record.job_id))
    assert bench.true_pulses == count
    rejoin, error, code = bench.resume()
    assert (rejoin.uncertain_turns, error, code) == (0, 0, EXIT_DONE)
    assert abs(bench.true_pulses - TARGET) <= 1


@FORGETS
def test_a_resumption_broken_off_can_be_given_up_at_the_count_that_was_known(
    bench: HostBench, monkeypatch: pytest.MonkeyPatch, forgets: bool
) -> None:
    count = broken_off(bench, monkeypatch, forgets=forgets)
    assert bench.wind(drop_held=True) == EXIT_PAUSED
    new, dropped = bench.ledger.winds()
    assert (new.open, dropped.open) == (True, False)
    assert dropped.result is not None
    assert (dropped.result.outcome, dropped.result.counted_pulses) == ("abandoned", count)
