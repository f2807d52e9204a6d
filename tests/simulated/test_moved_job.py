"""A job that moves, by agreement, from one winder to another: each knows of its own spool alone."""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from reelwright.errors import EXIT_DONE, EXIT_PAUSED, EXIT_TRIPPED
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.moved import MovedJobError
from reelwright.operation.resume import Rejoin
from reelwright.profiles import load_job
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.winding.plan import make_plan
from simulated.lockstep import RESTART_PERIODS, HostBench, LockstepWinder
from simulated.winder import listed, run, simulated, wind, write_job

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

STOP = 420  # pulses of the job's first stop


@contextmanager
def two_winders(folder: Path) -> Iterator[tuple[HostBench, HostBench]]:
    """Two winders, both there, of which the second knows nothing; one ledger, which goes by the first one's clock."""
    job = load_job(write_job(folder, link_loss="wind_on", pauses="[1, 2]"), {})
    plan = make_plan(job)
    first_spec, second_spec = (machine_spec(job, plan, SimulatorOptions(seed=seed)) for seed in (5, 6))
    with (
        LockstepWinder(first_spec) as first,
        LockstepWinder(second_spec) as second,
        SqliteLedger(folder / "ledger.sqlite3", now=first.now) as ledger,
    ):
        yield HostBench(first, job, plan, ledger, "first"), HostBench(second, job, plan, ledger, "second")


def the_job(bench: HostBench) -> int:
    return bench.ledger.winds()[-1].job_id


def test_what_was_heard_at_the_second_winder_narrows_nothing_at_the_first(tmp_path: Path) -> None:
    with two_winders(tmp_path) as (first, second):
        first.restart_while_turning("power_cut")
        _, before = first.find(None, the_job(first))
        assert isinstance(before, Rejoin)
        assert before.moved is None
        _, there = second.find(None, the_job(first))
        assert there.elsewhere.port == "first"
        assert second.resume_job(the_job(first)) == EXIT_PAUSED  # at the first stop
        assert second.wind() == EXIT_PAUSED  # and at the second
        _, after = first.find(None, the_job(first))
        assert after.standing == before.standing
        assert after.heard == before.heard
        assert after.before_turns == before.before_turns == 0
        stay, pulses = after.moved
        assert (stay.port, pulses) == ("second", pytest.approx(2 * STOP, abs=1))
        assert first.ledger.winds()[-1].port == "second"


def test_the_first_winder_does_not_go_on_by_itself_with_a_job_that_has_moved(tmp_path: Path) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        count = first.true_pulses
        assert second.resume_job(the_job(first)) == EXIT_PAUSED
        name, remedy = first.wind_error()
        assert name == "MovedJobError"
        assert f"`reelwright wind --resume {the_job(first)} --port second` goes on with it there." in remedy
        resumption, _ = first.resumption()
        with pytest.raises(
            MovedJobError, match=r"has moved to the winder at second, where 42\.\d\d turns were recorded"
        ):
            resumption.held(None, the_job(first))
        assert first.true_pulses == count
        assert second.wind() == EXIT_DONE


def test_a_job_taken_back_goes_on_from_what_its_own_winder_counted(tmp_path: Path) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        assert second.resume_job(the_job(first), uncertain_turns=1.5) == EXIT_PAUSED
        resumption, _ = first.resumption()
        assert resumption.held(None, the_job(first), agreed=True)
        assert first.ledger.winds()[-1].port == "first"
        assert first.wind() == EXIT_PAUSED
        assert first.true_pulses == pytest.approx(2 * STOP, abs=1)
        assert first.view.results[-1].uncertain_turns == 0, "what was agreed at the other winder was of another spool"
        assert second.wind_error()[0] == "MovedJobError"


def test_given_up_at_the_first_winder_the_job_is_open_still_where_it_has_moved(tmp_path: Path) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        job_id = the_job(first)
        assert second.resume_job(job_id) == EXIT_PAUSED
        assert first.wind(drop_held=True) == EXIT_PAUSED
        new, moved = first.ledger.winds()
        assert (new.job_id != job_id, moved.open) == (True, True)
        ended = [each for each in first.ledger.events(job_id) if each.happening.verb == "ended"]
        assert [each.series for each in ended] == [1], "what the first one counted is kept, as its own"
        assert second.wind() == EXIT_DONE
        record = second.ledger.find(job_id)
        assert record is not None
        assert record.result is not None
        assert record.result.outcome == "reached"


def test_ended_at_the_second_winder_the_job_is_over_and_the_first_is_freed_without_a_trace_in_it(
    tmp_path: Path,
) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        job_id = the_job(first)
        assert second.resume_job(job_id) == EXIT_PAUSED
        assert second.wind() == EXIT_DONE
        record = first.ledger.find(job_id)
        name, remedy = first.wind_error()
        assert (name, "--resume" in remedy) == ("MovedJobError", False)
        resumption, _ = first.resumption()
        with pytest.raises(MovedJobError, match=f"Job {job_id} is over: it went on at second, to 52.50 turns"):
            resumption.held(None, job_id)
        assert first.wind(drop_held=True) == EXIT_PAUSED
        assert first.ledger.find(job_id) == record


@pytest.mark.parametrize("drops", [False, True])
def test_a_first_winder_that_restarted_meanwhile_settles_nothing_of_the_job(tmp_path: Path, drops: bool) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        job_id = the_job(first)
        assert second.resume_job(job_id) == EXIT_PAUSED
        first.winder.strike("power_cut")
        first.winder.pass_periods(RESTART_PERIODS)
        if drops:
            assert first.wind(drop_held=True) == EXIT_PAUSED
        else:
            assert first.wind_error()[0] == "MovedJobError"
        record = first.ledger.find(job_id)
        assert record is not None
        assert record.open
        assert second.wind() == EXIT_DONE


def test_a_resumption_that_came_to_nothing_elsewhere_moves_nothing(tmp_path: Path) -> None:
    with two_winders(tmp_path) as (first, second):
        assert first.wind() == EXIT_PAUSED
        resumption, rejoin = second.find(None, the_job(first))
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(type(resumption), "_recount", lambda *_: (_ for _ in ()).throw(SystemExit))
            with pytest.raises(SystemExit):
                resumption.carry_out(rejoin, rejoin.standing.best, 3.0, second.view)
        assert first.wind() == EXIT_PAUSED
        assert first.view.results[-1].uncertain_turns == 0


def test_a_person_is_told_where_the_job_is_and_what_a_yes_means(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with (
        simulated(job, tmp_path, "--pace", "20", "--fault", "power_cut@15") as first,
        simulated(job, tmp_path, "--pace", "20") as second,
    ):
        assert wind(job, first, tmp_path)[0] == EXIT_TRIPPED
        number = str(listed(tmp_path)[0]["job_id"])
        asked = run(tmp_path, "wind", "--resume", number, "--port", second)
        assert "Once you agree, the job is with this winder" in " ".join(asked.stdout.split())
        moved = run(tmp_path, "wind", "--resume", number, "--port", second, "--agree-within", "60", "--json")
        assert moved.returncode == EXIT_PAUSED, moved.stderr
        there = json.loads(moved.stdout.splitlines()[-1])
        back = run(tmp_path, "wind", "--resume", number, "--port", first)
        told = " ".join(back.stdout.split())
        assert f"the job is with the winder at {second}: {there['turns']:.2f} turns were recorded there last" in told
        assert listed(tmp_path)[0]["port"] == second
        asked = run(tmp_path, "wind", "--resume", number, "--port", first, "--json")
        proposal = json.loads(asked.stdout.splitlines()[0])
        assert proposal["moved_to"] == {"port": second, "turns": there["turns"]}
        assert (proposal["ledger"]["port"], proposal["ledger"]["turns"] < there["turns"]) == (first, True)
