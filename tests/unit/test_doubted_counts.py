"""What a trip leaves unknown of the strand on the spool, told with every result since."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from ledger_shell import own_home
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.doubted import NO_DOUBT, SETTLES_TRIPS, Doubt, beside, doubt_of
from reelwright.operation.moved import begin_stay
from reelwright.operation.recorded import as_it_stands
from reelwright.operation.standing import Standing
from reelwright.operation.telling import RESUMED, happenings_of, result_of
from reelwright.operation.whereabouts import whereabouts
from reelwright.snapshot import Happening
from winding_jobs import plan_of
from windlink import codes
from windlink.sentences import TRIPS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from reelwright.winding.planned import Plan

PER_TURN = 20
DC = {
    "pulses_per_turn": PER_TURN,
    "drive": "dc",
    "max_spool_rpm": 150,
    "no_load_rpm": 210,
    "acceleration_rpm_s": 60,
    "deceleration_rpm_s": 30,
}
STEPPER = {**DC, "drive": "stepper", "steps_per_spool_turn": 3200}


def began(pulses: int) -> Happening:
    return Happening(1, "began", "Winding.", {"pulses": pulses})


def tripped(code: int, pulses: int, value: int = 1) -> Happening:
    return Happening(2, "tripped", "Tripped.", {"reason": TRIPS[code].word, "pulses": pulses, "value": value})


def dc() -> Plan:
    return plan_of(machine=DC)


def test_turns_after_the_end_of_the_strand_are_counted_and_hold_none() -> None:
    doubt = doubt_of(dc(), [began(0), tripped(codes.RUN_OUT, 241)], 308)
    result = result_of(dc(), 7, codes.TRIPPED, 308, trip="run_out", doubt=doubt)
    assert (result.turns_lowest, result.turns, result.turns_highest) == (241 / 20, 308 / 20, 308 / 20)
    assert (result.count_known, result.doubts, result.uncertain) == (False, ("run_out",), False)
    # the ends are those of the error bars of a wind of so many turns
    at_the_end, at_rest = (result_of(dc(), 7, codes.WAITING, pulses) for pulses in (241, 308))
    assert (result.length_lowest_m, result.length_highest_m) == (at_the_end.length_lowest_m, at_rest.length_highest_m)
    assert result.phase_turns == at_rest.phase_turns  # the guide followed the empty shaft too


def test_turns_without_strand_stay_in_the_wind_once_another_spool_is_joined_on() -> None:
    twice = [began(0), tripped(codes.RUN_OUT, 241), began(308), tripped(codes.RUN_OUT, 500), began(540)]
    assert doubt_of(dc(), twice, 3301) == Doubt(("run_out",), short=(308 - 241) + (540 - 500))


def test_a_count_that_was_agreed_to_with_the_trips_in_it_leaves_no_more_doubt_of_them() -> None:
    events = [began(0), tripped(codes.RUN_OUT, 241), Happening(0, RESUMED, "Resumed.", {"pulses": 308})]
    assert doubt_of(dc(), events, 308).words == ("run_out",)
    events[-1].fields[SETTLES_TRIPS] = 1
    assert doubt_of(dc(), events, 308) == NO_DOUBT
    assert doubt_of(dc(), [*events, began(300), tripped(codes.RUN_OUT, 500)], 520).short == 20


def test_what_is_proposed_after_a_restart_has_in_it_what_the_trips_left_unknown() -> None:
    at_rest = Standing(308, 308, "the ledger has the last rest", 308)
    assert beside(at_rest, NO_DOUBT, dc()) is at_rest
    short = beside(at_rest, Doubt(("run_out",), short=67), dc())
    assert (short.ends, short.best, short.uncertain_pulses) == ((241, 308), 308, 67)
    assert short.source.endswith("and its trips (run_out) leave more unknown")
    assert beside(at_rest, Doubt(("no_pulses",), beyond=90), dc()).ends == (308, 398)
    # no winder takes a count beyond twice its target and some
    assert 2 * dc().target_pulses < beside(at_rest, Doubt(("bad_sensor",), beyond=None), dc()).highest


def test_a_silent_sensor_may_have_stood_beside_a_spool_that_turned() -> None:
    doubt = doubt_of(dc(), [began(0), tripped(codes.NO_PULSES, 241, value=1080)], 241)
    # by hand: 210 rpm are 70 pulses a second, for 1.08 s until the trip and 0.1 s until the motor is off; then with a
    # third of 30 rpm/s (10 / 3 pulses a second in each second) to rest: 70^2 / (2 * 10 / 3) = 735 pulses; one begun
    assert (doubt.words, doubt.short) == (("no_pulses",), 0)
    assert doubt.beyond == pytest.approx(1.08 * 70 + 0.1 * 70 + 735 + 1, abs=1)
    result = result_of(dc(), 7, codes.TRIPPED, 241, trip="no_pulses", doubt=doubt)
    assert (result.turns_lowest, result.turns_highest) == (241 / 20, (241 + (doubt.beyond or 0)) / 20)
    assert (result.count_known, result.phase_turns) == (False, None)


def test_a_stepper_that_lost_its_sensor_went_no_farther_than_its_steps() -> None:
    lagged = doubt_of(plan_of(machine=STEPPER), [began(0), tripped(codes.LOST_STEPS, 241, value=9)], 241)
    # by hand: 150 rpm are 50 pulses a second, for 0.1 s; then 50^2 / (2 * 10 / 3) = 375; one begun, and the lag
    assert lagged.words == ("lost_steps",)
    assert lagged.beyond == pytest.approx(5 + 375 + 1 + 9, abs=1)


def test_a_slip_takes_from_what_was_wound_since_the_last_stop() -> None:
    assert doubt_of(dc(), [began(0), began(400), tripped(codes.SLIP, 500)], 520) == Doubt(("slip",), short=120)


def test_a_sensor_that_tells_the_impossible_leaves_the_last_stop_and_no_upper_end() -> None:
    doubt = doubt_of(dc(), [began(0), began(400), tripped(codes.BAD_SENSOR, 500)], 520)
    assert doubt == Doubt(("bad_sensor",), short=120, beyond=None)
    result = result_of(dc(), 7, codes.TRIPPED, 520, trip="bad_sensor", doubt=doubt)
    assert (result.turns_lowest, result.turns_highest, result.phase_turns) == (400 / 20, None, None)
    assert (result.length_highest_m, result.count_known) == (None, False)


def test_a_count_that_fell_may_be_that_of_swapped_channels() -> None:
    # from 300 back to 290 and on to 270: or else ahead to 330
    doubt = doubt_of(dc(), [began(0), tripped(codes.BACKWARDS, 290, value=-10)], 270)
    assert doubt == Doubt(("backwards",), beyond=330 - 270)


@pytest.mark.parametrize(
    "code",
    [
        codes.OVERSPEED,
        codes.SNAG,
        codes.STOP_PRESSED,
        codes.GUARD_OPEN,
        codes.LINK_LOST,
        codes.LATE_LOOP,
        codes.RUNS_ON,
    ],
)
def test_a_spool_that_is_counted_to_its_rest_is_known(code: int) -> None:
    assert doubt_of(dc(), [began(0), tripped(code, 241)], 308) == NO_DOUBT


@pytest.fixture
def home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    yield from own_home(monkeypatch, tmp_path)


@pytest.mark.usefixtures("home")
def test_a_count_that_nothing_bounds_from_above_was_confirmed_at_rest_all_the_same() -> None:
    plan = dc()
    with SqliteLedger(ledger_path()) as ledger:
        job = plan.job.to_dict()
        ledger.open_wind(7, job=job, plan={}, port="p", board="b", firmware="f", protocol="1.0", boot=11)
        ledger.record_count(7, 520, "tripped")
        doubt = doubt_of(plan, [began(400), tripped(codes.BAD_SENSOR, 500)], 520)
        ledger.settle(7, result_of(plan, 7, codes.TRIPPED, 520, trip="bad_sensor", doubt=doubt))
        record = ledger.find(7)
        assert record is not None
        assert as_it_stands(record, ledger) == record


@pytest.mark.usefixtures("home")
def test_a_count_that_was_agreed_to_at_another_winder_settles_no_trip_of_a_spool_that_is_taken_back() -> None:
    first, second = SimpleNamespace(boot=11, serial_number="A1"), SimpleNamespace(boot=12, serial_number="B2")
    plan = dc()
    with SqliteLedger(ledger_path()) as ledger:
        job = plan.job.to_dict()
        ledger.open_wind(
            7, job=job, plan={}, port="first", board="b", firmware="f", protocol="1", boot=11, serial_number="A1"
        )
        for happening in (began(0), tripped(codes.RUN_OUT, 241)):
            ledger.record_event(7, first.boot, happening)
        ledger.record_count(7, 308, "tripped")
        ledger.begin_series(7, second.boot, port="second", serial_number="B2")
        agreed = {"pulses": 308, "uncertain_turns": 3.35, SETTLES_TRIPS: 1}
        ledger.record_event(7, second.boot, Happening(0, RESUMED, "Resumed.", agreed))
        for happening in (began(308), tripped(codes.SLIP, 380)):
            ledger.record_event(7, second.boot, happening)
        ledger.record_count(7, 400, "tripped")
        # agreed to once, it is not doubted twice; what came since is
        assert doubt_of(plan, happenings_of(ledger.events(7)), 400) == Doubt(("slip",), short=400 - 308)
        record = ledger.find(7)
        assert record is not None
        begin_stay(record, ledger, first, "first", whereabouts(record, ledger, first, "first"), 308)
        # the first winder's spool has no turn of the second's, and its strand ran out all the same
        assert doubt_of(plan, happenings_of(ledger.events(7)), 308) == Doubt(("run_out",), short=308 - 241)
        for happening in (began(308), tripped(codes.SLIP, 320)):
            ledger.record_event(7, first.boot, happening)
        told = doubt_of(plan, happenings_of(ledger.events(7)), 330)
        assert told == Doubt(("run_out", "slip"), short=(308 - 241) + (330 - 308))


@pytest.mark.usefixtures("home")
def test_a_count_that_was_agreed_to_and_came_to_nothing_settles_no_trip() -> None:
    """The winder went away before it took the count: what is known of its spool is what was known before."""
    plan = dc()
    with SqliteLedger(ledger_path()) as ledger:
        job = plan.job.to_dict()
        ledger.open_wind(7, job=job, plan={}, port="p", board="b", firmware="f", protocol="1", boot=11)
        for happening in (began(0), tripped(codes.RUN_OUT, 241)):
            ledger.record_event(7, 11, happening)
        ledger.record_count(7, 308, "tripped")
        ledger.begin_series(7, 12, port="p")
        by_eye = {"pulses": 241, "uncertain_turns": 0.5, SETTLES_TRIPS: 1}
        ledger.record_event(7, 12, Happening(0, RESUMED, "Resumed.", by_eye))
        record = ledger.find(7)
        assert record is not None
        result = as_it_stands(record, ledger).result
        assert result is not None
        assert (result.doubts, result.turns_lowest) == (("run_out",), 241 / PER_TURN - 0.5)
        ledger.record_event(7, 12, began(241))
        assert doubt_of(plan, happenings_of(ledger.events(7)), 300) == NO_DOUBT
