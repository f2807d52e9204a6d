"""Every row of the table in the link's page: what is found after the power was lost at each moment of a wind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.cli.agreement import proposal_of, proposal_record, told
from reelwright.device.client import Client
from reelwright.device.job_values import job_values
from reelwright.errors import EXIT_DONE, EXIT_PAUSED, EXIT_TRIPPED, DeviceError, UsageError
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.recorded import given_up
from reelwright.operation.resume import Resumption, memory_of
from reelwright.profiles import load_job
from reelwright.simulator.spec import SimulatorOptions, machine_spec
from reelwright.snapshot import WindResult
from reelwright.winding.plan import make_plan
from simulated.lockstep import HostBench, LockstepWinder, go_on_or_drop
from simulated.power_cuts import STOP, TARGET, at_the_stop, found, power_fails
from simulated.winder import write_job
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path


def test_loaded_and_not_begun_it_comes_up_empty_and_remembers_nothing(bench: HostBench) -> None:
    client = bench.client()
    client.hello()
    client.load(99, job_values(bench.job, bench.plan))
    power_fails(bench)
    after = found(bench)
    assert after["status"]["state"] == codes.EMPTY
    assert after["memory"] is None
    with pytest.raises(UsageError, match="nothing to resume"):
        bench.find()


@pytest.mark.parametrize("bench", [(("power_cut", 9.0),)], indirect=True)
def test_winding_it_trips_and_the_two_together_say_how_far_it_may_be(bench: HostBench) -> None:
    assert bench.wind() == EXIT_TRIPPED
    after = found(bench)
    assert (after["status"]["state"], after["status"]["reason"]) == (codes.TRIPPED, codes.RESTARTED)
    assert (after["memory"].state, after["memory"].source) == (codes.WINDING, codes.FROM_JOURNAL)
    assert after["memory"].pulses < 180, "the count at which the motion began, and what was counted since the start"
    result = bench.view.results[-1]
    assert result.uncertain
    assert bench.view.snapshot is not None
    assert bench.view.snapshot.state == result.state == "tripped", "and no longer winding"
    (record,) = bench.ledger.winds()
    assert record.open
    rejoin, error, code = bench.resume()
    assert rejoin.uncertain_turns > 0
    # what was not known did not look known: the result's bounds hold those of the resume, and the truth
    low, high = (bench.plan.length_m_at(end) for end in rejoin.standing.ends)
    assert 0 < result.length_lowest_m <= low < high <= (result.length_highest_m or 0)
    assert result.length_u_m > (high - low) / 4
    assert abs(error) <= rejoin.standing.uncertain_pulses
    assert code == EXIT_PAUSED


@pytest.mark.parametrize("bench", [(("power_cut", 9.0),)], indirect=True)
def test_given_up_it_is_known_no_better_than_before(bench: HostBench) -> None:
    assert bench.wind() == EXIT_TRIPPED
    (record,) = bench.ledger.winds()
    for memory in (memory_of(bench.client()), None):
        result = given_up(record, bench.ledger, memory)
        assert (result.uncertain, result.count_known) == (memory is None, False)
        assert result.uncertain_turns > 3
        assert result.phase_turns is None
        true_m = bench.plan.length_m_at(bench.true_pulses)
        assert result.length_lowest_m <= true_m <= (result.length_highest_m or 0)
        assert abs(true_m - result.length_m) < 2 * result.length_u_m


def test_given_up_after_a_rest_that_was_heard_it_is_known_as_before(bench: HostBench) -> None:
    at_the_stop(bench)
    (record,) = bench.ledger.winds()
    result = given_up(record, bench.ledger)
    assert (result.uncertain, result.uncertain_turns, result.count_known) == (True, 0, True)
    assert record.result is not None
    assert result.length_highest_m == record.result.length_highest_m


@pytest.mark.parametrize("bench", [(("power_cut", 20.9),)], indirect=True)
def test_easing_it_trips_and_the_stop_bounds_how_far_it_may_be(bench: HostBench) -> None:
    assert bench.wind() == EXIT_TRIPPED
    assert found(bench)["memory"].state == codes.WINDING
    rejoin, error, _ = bench.resume()
    assert abs(error) <= rejoin.standing.uncertain_pulses
    assert rejoin.standing.highest <= STOP + 5


def test_waiting_it_trips_and_knows_its_count_exactly(bench: HostBench) -> None:
    at_the_stop(bench)
    power_fails(bench)
    after = found(bench)
    assert (after["status"]["state"], after["status"]["reason"]) == (codes.TRIPPED, codes.RESTARTED)
    assert (after["memory"].state, after["memory"].pulses) == (codes.WAITING, bench.true_pulses)
    (record,) = bench.ledger.winds()
    assert bench.wind_error() == ("TrippedError", go_on_or_drop(record.job_id))
    rejoin, error, code = bench.resume()
    assert (rejoin.uncertain_turns, error, code) == (0, 0, EXIT_DONE)
    assert abs(bench.true_pulses - TARGET) <= 1
    assert bench.view.results[-1].counted_pulses == bench.true_pulses
    assert bench.view.results[-1].uncertain_turns == 0


def test_tripped_with_no_host_to_hear_why_it_is_told_that_the_count_may_not_be_what_is_on_the_spool(
    bench: HostBench,
) -> None:
    at_the_stop(bench)
    bench.go_on_and_leave()
    bench.winder.pass_periods(300)
    bench.winder.strike("sensor_dead")
    bench.winder.pass_periods(3000)
    power_fails(bench)
    after = found(bench)
    assert after["memory"].state == codes.TRIPPED
    _, rejoin = bench.find()
    assert rejoin.unheard_trip
    lines = told(rejoin, proposal_of(rejoin, None))
    assert any(line.startswith("It had tripped, and nobody heard why.") for line in lines)
    assert proposal_record(rejoin, proposal_of(rejoin, None))["unheard_trip"] is True


@pytest.mark.parametrize("bench", [(("sensor_dead", 9.0),)], indirect=True)
def test_a_trip_that_was_heard_is_told_by_its_name_alone(bench: HostBench) -> None:
    assert bench.wind() == EXIT_TRIPPED
    bench.winder.pass_periods(3000)  # the rest is kept once the spool has stood
    power_fails(bench)
    assert found(bench)["memory"].state == codes.TRIPPED
    _, rejoin = bench.find()
    assert not rejoin.unheard_trip
    lines = told(rejoin, proposal_of(rejoin, None))
    assert not any("nobody heard why" in line for line in lines)
    assert any("its trips (no_pulses) leave more unknown" in line for line in lines)


def test_finished_and_recorded_it_comes_up_empty_and_the_ledger_has_it_all(bench: HostBench) -> None:
    at_the_stop(bench)
    assert bench.wind() == EXIT_DONE
    before = bench.ledger.winds()
    power_fails(bench)
    after = found(bench)
    assert after["status"]["state"] == codes.EMPTY
    assert (after["memory"].state, after["memory"].pulses) == (codes.FINISHED, bench.true_pulses)
    with pytest.raises(UsageError, match="nothing to resume"):
        bench.find()
    assert bench.ledger.winds() == before


@pytest.mark.parametrize("how", ["resume", "next wind"])
def test_finished_with_no_host_it_tells_the_final_count_to_the_next_command(bench: HostBench, how: str) -> None:
    at_the_stop(bench)
    bench.go_on_and_leave()
    bench.winder.pass_periods(6000)
    power_fails(bench)
    after = found(bench)
    assert after["status"]["state"] == codes.EMPTY
    assert after["memory"].outcome == codes.REACHED
    if how == "resume":
        _, result = bench.find()
        assert isinstance(result, WindResult)
    else:
        bench.wind()
    record = bench.ledger.winds()[-1]
    assert not record.open
    assert record.result is not None
    assert (record.result.outcome, record.result.counted_pulses) == ("reached", after["memory"].pulses)
    assert abs(record.result.counted_pulses - TARGET) <= 1
    assert not record.result.uncertain


# --- what an operator may get wrong -------------------------------------------------------------------------


def test_a_job_that_this_ledger_never_had_is_told_and_left_alone(bench: HostBench, tmp_path: Path) -> None:
    at_the_stop(bench)
    power_fails(bench)
    with SqliteLedger(tmp_path / "another.sqlite3") as other:
        client = Client(bench.winder.port)
        stranger = Resumption(client, other, client.hello(), "lockstep")
        with pytest.raises(DeviceError, match="this computer's ledger does not know it"):
            stranger.find(None, None)
        elsewhere = HostBench(bench.winder, bench.job, bench.plan, other)
        assert elsewhere.wind_error()[0] == "DeviceError"
    rejoin, error, code = bench.resume()
    assert (rejoin.uncertain_turns, error, code) == (0, 0, EXIT_DONE)


def test_another_job_than_the_one_that_is_meant_is_told(bench: HostBench, tmp_path: Path) -> None:
    at_the_stop(bench)
    power_fails(bench)
    other = load_job(write_job(tmp_path, link_loss="pause", pauses="[2]"), {})
    resumption, _ = bench.find()
    (record,) = bench.ledger.winds()
    for job, number in ((other, None), (None, record.job_id + 1)):
        with pytest.raises(DeviceError, match=f"remembers another job, {record.job_id}"):
            resumption.find(job, number)
    assert bench.find(bench.job, record.job_id)


def test_a_job_given_up_is_closed_at_its_best_count_and_the_next_one_winds(bench: HostBench) -> None:
    at_the_stop(bench)
    count = bench.true_pulses
    power_fails(bench)
    assert bench.wind(drop_held=True) == EXIT_PAUSED
    new, dropped = bench.ledger.winds()
    assert (dropped.open, new.open) == (False, True)
    assert dropped.result is not None
    assert (dropped.result.outcome, dropped.result.counted_pulses) == ("abandoned", count)


def test_a_winder_that_forgot_everything_is_resumed_from_the_ledger(bench: HostBench) -> None:
    at_the_stop(bench)
    count = bench.true_pulses
    bench.winder.board.store._slots = [b"", b"\xff" * 300]
    power_fails(bench)
    assert found(bench)["memory"] is None
    rejoin, error, code = bench.resume()
    assert (rejoin.memory, rejoin.standing.best, error, code) == (None, count, 0, EXIT_DONE)


def test_another_winder_that_calls_its_start_by_the_same_number_is_heard_from_its_first_event(
    tmp_path: Path,
) -> None:
    job = load_job(write_job(tmp_path, link_loss="wind_on", pauses="[1, 2]"), {})
    plan = make_plan(job)
    spec = machine_spec(job, plan, SimulatorOptions(seed=5))
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        with LockstepWinder(spec) as winder:
            first = HostBench(winder, job, plan, ledger)
            assert first.wind() == EXIT_PAUSED
        with LockstepWinder(spec) as winder:
            second = HostBench(winder, job, plan, ledger)
            assert second.resume()[2] == EXIT_PAUSED
            assert second.view.results[-1].counted_pulses == pytest.approx(2 * STOP, abs=1)
            assert second.wind() == EXIT_DONE
        (record,) = ledger.winds()
        events = ledger.events(record.job_id)
    assert len({each.boot for each in events}) == 1
    told = [each.happening for each in events if each.series == 2 and each.happening.number]
    assert [each.number for each in told] == list(range(1, len(told) + 1))
    layers = [each.happening.fields["layer"] for each in events if each.happening.verb == "layer_done"]
    assert layers == [1, 2]
    stops = [each.fields["stop"] for each in told if each.verb == "stopped"]
    assert stops == ["recounted", "layer_stop"]
    assert told[-1].verb == "ended"


def test_a_spool_turned_by_hand_after_the_restart_is_counted_on(bench: HostBench) -> None:
    at_the_stop(bench)
    power_fails(bench)
    plant = bench.winder.board.plant
    plant._turn(2.0)
    bench.winder.pass_periods(100)
    turned = bench.true_pulses
    assert turned == STOP + 40
    rejoin, error, _ = bench.resume()
    assert (rejoin.standing.best, error) == (turned, 0)


def test_a_spool_turned_while_the_operator_is_asked_is_asked_for_again(bench: HostBench) -> None:
    at_the_stop(bench)
    power_fails(bench)
    resumption, rejoin = bench.find()
    plant = bench.winder.board.plant
    plant._turn(1.0)
    bench.winder.pass_periods(100)
    with pytest.raises(DeviceError, match="while you were asked"):
        resumption.carry_out(rejoin, rejoin.standing.best, 0.0, bench.view)
    assert bench.true_pulses == STOP + 20


def test_two_restarts_of_one_wind_add_up(bench: HostBench) -> None:
    for _ in range(2):
        bench.restart_while_turning("soft_reset")
        rejoin, error, code = bench.resume(and_stop=False)
        assert abs(error) <= rejoin.uncertain_turns * 20
    assert rejoin.before_turns > 0
    assert rejoin.uncertain_turns > rejoin.before_turns
    while code == EXIT_PAUSED:
        code = bench.wind()
    result = bench.view.results[-1]
    assert result.uncertain_turns == rejoin.uncertain_turns
    assert abs(bench.true_pulses - result.counted_pulses) <= result.uncertain_turns * 20
    plain = bench.plan.at_pulses(result.counted_pulses)
    assert result.length_u_m > plain.length_u_m
