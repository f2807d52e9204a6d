"""What the trips promise, one function a promise. Runs on both interpreters; prints each name."""

from promises import keep
from rig import Rig, in_state
from session_scenarios import DRIVES

from windcore import transitions
from windlink import codes


def tripped_with(reason, rig):
    rig.until(codes.TRIPPED)
    assert rig.session.trip_reason == reason, rig.session.trip_reason
    assert rig.outputs.duty == 0
    assert rig.verbs().count("tripped") == 1


def each_trip_has_its_condition():
    rig = in_state(codes.WINDING)
    rig.stuck = True
    tripped_with(codes.NO_PULSES, rig)

    rig = in_state(codes.WINDING)
    rig.forced = 80.0
    tripped_with(codes.OVERSPEED, rig)

    rig = in_state(codes.WINDING, channels=2)
    rig.forced = -30.0
    tripped_with(codes.BACKWARDS, rig)

    for switch, reason in (
        (codes.STOP_BUTTON, codes.STOP_PRESSED),
        (codes.GUARD_SWITCH, codes.GUARD_OPEN),
        (codes.TENSION_SWITCH, codes.SNAG),
        (codes.RUN_OUT_SWITCH, codes.RUN_OUT),
    ):
        rig = in_state(codes.WINDING)
        rig.inputs.switches = switch
        rig.step()
        tripped_with(reason, rig)

    rig = in_state(codes.WINDING, link_loss=codes.TRIP)
    rig.inputs.silent_ms = 1001
    tripped_with(codes.LINK_LOST, rig)

    rig = in_state(codes.WINDING)
    rig.now_ms = (rig.now_ms + 150) % (1 << 30)
    tripped_with(codes.LATE_LOOP, rig)

    rig = Rig(codes.WATCHDOG)
    tripped_with(codes.RESTARTED, rig)
    assert rig.session.clear(codes.RESTARTED) == 0
    assert rig.session.state == codes.EMPTY


# A turn of 20 pulses draws 100 pulses of the wheel in the first layer, and 5 more in each further one. A pulse of the
# shaft is worth 5 of the wheel, and may fall on either side of a window.
WHEEL = {"slip_window_pulses": 20, "wheel_first": 1600, "wheel_rise": 80, "slip_permille": 100, "slip_slack": 8}


def each_look_allows_its_limit_and_not_one_more():
    rig = in_state(codes.WINDING, channels=2)
    watch = rig.session.watch
    highest = rig.session.count
    for look, allowed, beyond, reason in (
        (watch.loop, (49,), (50,), codes.LATE_LOOP),
        (watch.rate, (5500, 5500), (5501, 5500), codes.OVERSPEED),
        (watch.direction, (highest - 10, 10), (highest - 11, 10), codes.BACKWARDS),
        (watch.pulses, (500, 500), (501, 500), codes.NO_PULSES),
        (watch.pulses, (90000, 99999), (90001, 99999), codes.NO_PULSES),
        (watch.overrun, (20, 20), (21, 20), codes.RUNS_ON),
        (watch.link, (codes.TRIP, 1000, 1000), (codes.TRIP, 1001, 1000), codes.LINK_LOST),
        (watch.switches, (0,), (codes.TENSION_SWITCH,), codes.SNAG),
    ):
        assert look(*allowed) == 0, reason
        assert look(*beyond) == reason, reason
    assert watch.link(codes.PAUSE, 1 << 28, 1000) == 0


def a_wheel_that_agrees_with_the_shaft_never_trips():
    for drive in DRIVES:
        for share in (0.91, 1.0, 1.09):
            rig = in_state(codes.WINDING, drive=drive, stops=(), **WHEEL)
            rig.strand_share = share
            rig.until(codes.FINISHED)
            assert rig.inputs.wheel_pulses > 7000


def a_spool_that_slips_trips_within_two_turns_and_strand_that_stands_within_half_a_turn():
    for drive in DRIVES:
        for share, turns in ((0.0, 0.4), (0.5, 1.0), (0.75, 2.0)):
            rig = in_state(codes.WINDING, drive=drive, stops=(), **WHEEL)
            rig.step(700)
            before = rig.session.count
            rig.strand_share = share
            tripped_with(codes.SLIP, rig)
            assert (rig.session.count - before) / 20 <= turns, (share, rig.session.count - before)
            assert rig.session.trip_value < rig.session.trip_limit


def more_strand_than_the_turns_explain_means_a_sensor_that_misses_turns():
    rig = in_state(codes.WINDING, stops=(), **WHEEL)
    rig.step(300)
    rig.strand_share = 1.5
    tripped_with(codes.BAD_SENSOR, rig)
    rig = in_state(codes.WINDING, stops=(), **WHEEL)
    rig.step(300)
    rig.stuck = True  # the shaft's counter stands; the strand runs on
    for _ in range(40):
        rig._draw(0.4)
        rig.step()
    tripped_with(codes.BAD_SENSOR, rig)


def a_stepper_that_makes_its_steps_never_trips_and_one_that_loses_some_does():
    rig = in_state(codes.WINDING, drive=codes.STEPPER, stops=())
    rig.until(codes.FINISHED)
    for share in (0.3, 0.6, 0.85):
        rig = in_state(codes.WINDING, drive=codes.STEPPER, stops=())
        rig.step(300)
        before = rig.session.count
        rig.steps_share = share
        tripped_with(codes.LOST_STEPS, rig)
        assert rig.session.trip_value > rig.session.trip_limit == 4
        # the shaft lags by (1 - share) / share of what it turns; a window may begin anew on the way
        lag = 5 + 0.03 * 40
        assert (rig.session.count - before) * (1 - share) / share <= 2 * lag + 2
    # what a pause leaves is no lag
    rig = in_state(codes.WINDING, drive=codes.STEPPER)
    rig.until(codes.WAITING)
    rig.step(500)
    assert rig.session.go_on(rig.session.wait) == 0
    rig.until(codes.WAITING)


def a_job_may_leave_the_steps_unwatched_and_other_drives_have_none():
    for changes in ({"drive": codes.STEPPER, "lag_pulses": 0}, {"drive": codes.DC}):
        rig = in_state(codes.WINDING, stops=(), **changes)
        rig.steps_share = 0.5
        rig.step(600)
        assert rig.session.state == codes.WINDING


def a_winder_without_a_wheel_never_slips():
    rig = in_state(codes.WINDING, stops=())
    for _ in range(300):
        rig.inputs.wheel_pulses += 1000
        rig.step()
    assert rig.session.state == codes.WINDING


def a_wheel_is_compared_afresh_from_each_stop():
    rig = in_state(codes.WINDING, **WHEEL)
    rig.until(codes.WAITING)
    rig.strand += 16 * 500  # the operator pulls strand through by hand
    rig.step()
    assert rig.session.go_on(rig.session.wait) == 0
    rig.until(codes.WAITING)


def a_jump_that_no_drive_can_make_trips_at_its_limit():
    # 60 pulses a second at full drive: twice that in two steps is 2 and a bit, and 3 for uneven edges
    for state in (codes.WINDING, codes.EASING):
        for pulses, trips in ((5, False), (6, True)):
            rig = in_state(state)
            rig.forced = 0.0
            rig.step()
            rig.turned += pulses
            rig.step()
            assert (rig.session.state == codes.TRIPPED) == trips, (state, pulses)
            if trips:
                assert rig.session.trip_reason == codes.BAD_SENSOR
                assert (rig.session.trip_value, rig.session.trip_limit) == (6, 5)


def a_hand_may_turn_a_spool_at_rest_and_interference_may_not():
    # four times what a drive may do
    for state in (codes.LOADED, codes.WAITING):
        for pulses, trips in ((12, False), (13, True)):
            rig = in_state(state)
            rig.turned += pulses
            rig.step()
            assert (rig.session.state == codes.TRIPPED) == trips, (state, pulses)
            if trips:
                assert rig.session.trip_reason == codes.BAD_SENSOR
                rig.step(100)
                assert rig.session.clear(codes.BAD_SENSOR) == 0
                assert rig.session.state == state
    for state in (codes.EMPTY, codes.FINISHED):
        rig = in_state(state)
        rig.turned += 1000
        rig.step()
        assert rig.session.state == state


def transitions_that_no_shaft_can_make_trip_from_the_fourth_in_a_second():
    for state in (codes.LOADED, codes.WINDING, codes.WAITING):
        rig = in_state(state, channels=2, stops=((1000, codes.MARK_STOP),))
        rig.inputs.illegal += 3
        rig.step()
        assert rig.session.state == state
        rig.inputs.illegal += 1
        rig.step()
        assert rig.session.trip_reason == codes.BAD_SENSOR
        assert rig.session.trip_value == 4
    rig = in_state(codes.WINDING, channels=2, stops=())
    for _ in range(10):
        rig.inputs.illegal += 3
        rig.step(101)
    assert rig.session.state == codes.WINDING


def a_single_channel_that_counts_down_is_a_bad_one():
    rig = in_state(codes.WINDING)
    rig.turned -= 2
    tripped_with(codes.BAD_SENSOR, rig)
    rig = in_state(codes.WINDING, channels=2)
    rig.turned -= 2
    rig.step()
    assert rig.session.state == codes.WINDING


def a_step_that_comes_when_the_lease_has_ended_trips():
    for late_ms, trips in ((30, False), (40, True)):
        rig = in_state(codes.WINDING)
        rig.now_ms = (rig.now_ms + late_ms) % (1 << 30)
        rig.step()
        assert (rig.session.trip_reason == codes.LATE_LOOP) == trips, late_ms


def the_first_reason_wins():
    rig = in_state(codes.WINDING)
    rig.inputs.switches = codes.TENSION_SWITCH
    rig.step()
    rig.inputs.switches = codes.STOP_BUTTON | codes.GUARD_SWITCH
    rig.step(200)
    assert rig.session.trip_reason == codes.SNAG


def a_spool_that_runs_on_past_its_stop_trips():
    for channels in (1, 2):
        rig = in_state(codes.WINDING, channels=channels)
        while not rig.outputs.brake:
            rig.step()
        rig.forced = 40.0
        tripped_with(codes.RUNS_ON, rig)
        rig.step(500)
        moves = rig.verbs().count("moved_at_rest")
        assert 1 <= moves <= 3, moves


def a_stalled_drive_trips_however_slowly_it_is_meant_to_turn():
    for cruise in (5, 20, 4000):
        rig = in_state(codes.WINDING, cruise_rate=cruise, creep_rate=5, full_rate=cruise * 2, stops=())
        rig.stuck = True
        rig.until(codes.TRIPPED, most=10000)
        assert rig.session.trip_reason == codes.NO_PULSES
        assert rig.session.trip_value <= 95000


def overspeed_is_proven_within_a_second_from_twenty_pulses_a_second_up():
    for rate, most in ((20, 70), (60, 45), (300, 30), (3000, 30)):
        rates = {"cruise_rate": rate * 90, "highest_rate": rate * 100, "full_rate": rate * 200}
        rig = in_state(codes.WINDING, stops=(), target_pulses=160000, **rates)
        rig.forced = rate * 0.97
        rig.step(300)
        assert rig.session.state in transitions.DRIVEN, rate
        rig.forced = rate * 1.2
        steps = 0
        while rig.session.state != codes.TRIPPED:
            rig.step()
            steps += 1
            assert steps <= most, (rate, steps)
        assert rig.session.trip_reason == codes.OVERSPEED


PROMISES = (
    each_look_allows_its_limit_and_not_one_more,
    each_trip_has_its_condition,
    a_wheel_that_agrees_with_the_shaft_never_trips,
    a_spool_that_slips_trips_within_two_turns_and_strand_that_stands_within_half_a_turn,
    more_strand_than_the_turns_explain_means_a_sensor_that_misses_turns,
    a_stepper_that_makes_its_steps_never_trips_and_one_that_loses_some_does,
    a_job_may_leave_the_steps_unwatched_and_other_drives_have_none,
    a_winder_without_a_wheel_never_slips,
    a_wheel_is_compared_afresh_from_each_stop,
    a_jump_that_no_drive_can_make_trips_at_its_limit,
    a_hand_may_turn_a_spool_at_rest_and_interference_may_not,
    transitions_that_no_shaft_can_make_trip_from_the_fourth_in_a_second,
    a_single_channel_that_counts_down_is_a_bad_one,
    a_step_that_comes_when_the_lease_has_ended_trips,
    the_first_reason_wins,
    a_spool_that_runs_on_past_its_stop_trips,
    a_stalled_drive_trips_however_slowly_it_is_meant_to_turn,
    overspeed_is_proven_within_a_second_from_twenty_pulses_a_second_up,
)

if __name__ == "__main__":
    keep(PROMISES)
