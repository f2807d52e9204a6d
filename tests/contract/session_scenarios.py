"""What the session promises, one function a promise. Runs on both interpreters; prints each name."""

from promises import keep
from rig import COUNTER_START, WRAP, Rig, in_state

from windcore import transitions
from windlink import codes
from windlink.job import JOB_FIELDS, POSITION

STATES = transitions.STATES
DRIVES = (codes.HAND, codes.DC, codes.STEPPER)
SWITCHES = (0, 1, 2, 4, 8, 16, 31)


def a_job_stops_at_each_stop_and_at_its_target():
    for drive in (codes.DC, codes.STEPPER):
        rig = in_state(codes.WINDING, drive=drive)
        for count, stop in ((696, codes.STOP_AT_LAYER), (1000, codes.STOP_AT_MARK)):
            rig.until(codes.WAITING)
            assert abs(rig.session.count - count) <= 1, rig.session.count
            verb, values = rig.last_event()
            assert verb == "stopped"
            assert values[0] == stop
            assert rig.session.go_on(rig.session.wait) == 0
            rig.step()
        rig.until(codes.FINISHED)
        assert 1500 <= rig.session.count <= 1501, rig.session.count
        assert rig.verbs().count("layer_done") == 2
        assert rig.last_event()[0] == "ended"
        assert rig.last_event()[1][0] == codes.REACHED


def the_drive_is_off_in_every_state_but_winding_and_easing():
    walked = 0
    for drive in DRIVES:
        for state in STATES:
            for switches in SWITCHES:
                for forced in (None, 0.0, 200.0):
                    rig = in_state(state, drive=drive, channels=2)
                    rig.inputs.switches = switches
                    rig.forced = forced
                    for _ in range(60):
                        rig.step()
                        walked += 1
                        if rig.session.state not in transitions.DRIVEN:
                            assert rig.outputs.duty == 0
                            assert rig.outputs.step_rate == 0
                            assert rig.outputs.brake == 0
                        if drive == codes.HAND:
                            assert rig.outputs.duty == 0
                            assert rig.outputs.step_rate == 0
    print("steps walked:", walked)


def requests_of(rig):
    session = rig.session
    return {
        transitions.START: session.start,
        transitions.PAUSE: session.pause,
        transitions.GO_ON: lambda: session.go_on(session.wait),
        transitions.ABANDON: session.abandon,
        transitions.CLEAR: lambda: session.clear(session.trip_reason),
    }


def fingerprint(session):
    return (session.state, session.count, session.wait, session.events.newest, session.trip_reason, session.motion.halt)


def a_request_that_the_table_lacks_is_refused_and_changes_nothing():
    refused = 0
    for state in STATES:
        for trigger in (
            transitions.START,
            transitions.PAUSE,
            transitions.GO_ON,
            transitions.ABANDON,
            transitions.CLEAR,
        ):
            rig = in_state(state)
            before = fingerprint(rig.session)
            answer = requests_of(rig)[trigger]()
            if (state, trigger) in transitions.TRANSITIONS:
                assert answer == 0, (state, trigger, answer)
            else:
                assert answer != 0, (state, trigger)
                assert fingerprint(rig.session) == before
                refused += 1
    print("requests refused:", refused)


def every_state_has_a_way_out_and_no_trip_clears_itself():
    for state in STATES:
        assert [1 for (origin, _), to in transitions.TRANSITIONS.items() if origin == state and to != state]
    for (origin, trigger), to in transitions.TRANSITIONS.items():
        if origin == codes.TRIPPED and to != codes.TRIPPED:
            assert trigger in (
                transitions.CLEAR,
                transitions.CLEAR_EMPTY,
                transitions.CLEAR_LOADED,
                transitions.CLEAR_OVER,
            )
    rig = in_state(codes.TRIPPED)
    rig.step(3000)
    assert rig.session.state == codes.TRIPPED
    assert rig.session.clear(codes.SNAG) == codes.STALE
    rig.inputs.switches = codes.STOP_BUTTON
    rig.step()
    assert rig.session.clear(codes.STOP_PRESSED) == codes.SWITCH_ACTIVE
    rig.inputs.switches = 0
    rig.step()
    assert rig.session.clear(codes.STOP_PRESSED) == 0
    assert rig.session.state == codes.WAITING
    rig.step(500)
    assert rig.session.state == codes.WAITING


def a_switch_that_is_not_fitted_is_absent():
    rig = in_state(codes.WINDING, fitted=0)
    rig.inputs.switches = 15
    rig.step(50)
    assert rig.session.state == codes.WINDING


def a_silent_host_pauses_where_the_job_says_so():
    rig = in_state(codes.WINDING, link_loss=codes.PAUSE)
    rig.inputs.silent_ms = 1001
    rig.until(codes.WAITING)
    assert rig.last_event()[1][0] == codes.STOP_BY_LINK_LOSS
    rig = in_state(codes.WINDING, link_loss=codes.WIND_ON)
    rig.inputs.silent_ms = 1 << 28
    rig.until(codes.WAITING)
    assert rig.last_event()[1][0] == codes.STOP_AT_LAYER


def a_pause_eases_to_rest_and_goes_on_to_the_same_target():
    rig = in_state(codes.WINDING)
    rig.step(200)
    before = rig.session.count
    assert rig.session.pause() == 0
    assert rig.session.pause() == 0
    rig.until(codes.WAITING)
    assert before < rig.session.count < 696
    assert rig.last_event()[1][0] == codes.STOP_BY_PAUSE
    assert rig.session.go_on(rig.session.wait + 1) == codes.STALE
    assert rig.session.go_on(rig.session.wait) == 0
    rig.until(codes.WAITING)
    assert abs(rig.session.count - 696) <= 1


def an_abandoned_job_eases_to_rest_and_is_over():
    rig = in_state(codes.WINDING)
    assert rig.session.abandon() == 0
    assert rig.session.state == codes.EASING
    rig.until(codes.FINISHED)
    assert rig.last_event()[0] == "ended"
    assert rig.last_event()[1][0] == codes.ABANDONED


def a_job_abandoned_on_its_last_turns_has_reached_its_target_if_it_ends_there():
    rig = in_state(codes.WINDING)
    target = rig.session.targets.target
    while rig.session.count < target:
        if rig.session.state == codes.WAITING:
            rig.session.go_on(rig.session.wait)
        rig.step()
        if rig.session.state == codes.EASING and rig.session.targets.pulses == target:
            break
    assert rig.session.abandon() == 0
    rig.until(codes.FINISHED)
    assert abs(rig.session.count - target) <= 1
    assert rig.last_event()[0] == "ended"
    assert rig.last_event()[1][0] == codes.REACHED


def turning_at_rest_is_counted_and_told():
    for state in (codes.WAITING, codes.FINISHED, codes.TRIPPED):
        rig = in_state(state)
        rig.step(100)
        before = rig.session.count
        rig.forced = 50.0
        rig.step(50)
        rig.forced = 0.0
        rig.step(50)
        assert rig.session.count == before + 25
        assert rig.last_event()[0] == "moved_at_rest"
        assert rig.last_event()[1][0] == before + 25


def the_buttons_start_and_go_on_without_a_host():
    rig = in_state(codes.LOADED)
    rig.inputs.switches = codes.GO_BUTTON
    rig.step()
    rig.inputs.switches = 0
    rig.until(codes.WAITING)
    rig.step()
    rig.inputs.switches = codes.GO_BUTTON
    rig.step()
    assert rig.session.state == codes.WINDING


def a_go_button_that_is_held_starts_nothing_and_passes_no_stop():
    rig = Rig()
    rig.step()
    rig.accept()
    rig.inputs.switches = codes.GO_BUTTON
    rig.step(100)
    assert rig.session.state == codes.LOADED
    assert rig.session.start() == 0
    rig.until(codes.WAITING)
    rig.step(500)
    assert rig.session.state == codes.WAITING
    rig = in_state(codes.TRIPPED)
    rig.inputs.switches = codes.GO_BUTTON
    rig.step()
    assert rig.session.clear(codes.STOP_PRESSED) == 0
    rig.step(500)
    assert rig.session.state == codes.WAITING


def an_abandoned_job_that_trips_is_over_once_it_is_cleared():
    rig = in_state(codes.WINDING)
    rig.step(200)
    rig.session.abandon()
    rig.inputs.switches = codes.TENSION_SWITCH
    rig.step()
    assert rig.session.state == codes.TRIPPED
    rig.inputs.switches = 0
    rig.step()
    assert rig.session.clear(codes.SNAG) == codes.STILL_TURNS
    rig.step(30)
    assert rig.session.clear(codes.SNAG) == 0
    assert rig.session.state == codes.FINISHED
    assert rig.last_event()[1][0] == codes.ABANDONED


def a_job_tripped_before_it_began_is_loaded_again_and_starts_at_zero():
    rig = in_state(codes.LOADED)
    rig.inputs.switches = codes.STOP_BUTTON
    rig.step()
    assert rig.session.state == codes.TRIPPED
    rig.inputs.switches = 0
    rig.forced = 50.0
    rig.step(100)
    rig.forced = None
    assert rig.session.clear(codes.STOP_PRESSED) == 0
    assert rig.session.state == codes.LOADED
    assert rig.session.start() == codes.STILL_TURNS
    rig.step(30)
    assert rig.session.start() == 0
    rig.step()
    assert rig.session.count == 0


def every_number_that_is_kept_is_below_two_to_the_thirty():
    extremes = (
        {"cruise_rate": 1000000, "full_rate": 2000000, "highest_rate": 2000000, "acceleration": 10000000},
        {"layer_numerator": (1 << 30) - 1, "layer_denominator": 1000003, "first_numerator": (1 << 29) + 1},
        {"cruise_rate": 1000000, "full_rate": 2000000, "highest_rate": 2000000, "line_turn": 32767, "line_rise": 32767},
        {"layer_numerator": 1 << 27, "first_numerator": 1 << 27, "target_pulses": 1 << 28},
    )
    for extreme in extremes:
        rig = in_state(codes.WINDING, stops=(), **extreme)
        for _ in range(400):
            rig.step()
            session = rig.session
            for part in (
                session,
                session.tally,
                session.targets,
                session.speedometer,
                session.standstill,
                session.watch,
                session.watch.plausibility,
                session.watch.wheel,
                session.watch.steps,
                session.motion,
                session.motion.ramp,
                session.motion.line,
                session.motion.brake,
                session.motion.speed_loop,
                session.events,
            ):
                for name, value in part.__dict__.items():
                    if isinstance(value, int):
                        assert abs(value) < 1 << 30, (name, value)
        # a counter that leaps makes no rate whose hundredths pass it either
        rig.turned += 100000
        rig.step()
        assert abs(session.speedometer.rate) * 100 < 1 << 30


def the_longest_job_of_the_link_ends_on_its_last_pulse():
    target = JOB_FIELDS[POSITION["target_pulses"]].high
    rig = in_state(codes.LOADED, stops=(), target_pulses=target, layer_numerator=1 << 27, first_numerator=1 << 27)
    rig.step(40)
    assert rig.session.recount(target - 40) == 0
    assert rig.session.go_on(rig.session.wait) == 0
    rig.until(codes.FINISHED)
    assert rig.session.outcome == codes.REACHED
    assert 0 <= rig.session.count - target <= 1


def a_spool_is_not_started_with_the_guard_open():
    rig = in_state(codes.LOADED)
    rig.inputs.switches = codes.GUARD_SWITCH
    rig.step()
    assert rig.session.start() == codes.SWITCH_ACTIVE
    assert rig.session.state == codes.LOADED


def a_counter_and_a_clock_that_wrap_lose_no_pulse():
    for drive in DRIVES:
        rig = in_state(codes.LOADED, drive=drive)
        rig.session.start()
        while rig.session.state != codes.FINISHED:
            rig.step()
            assert rig.session.count == int(rig.turned // 1)
            if rig.session.state == codes.WAITING:
                rig.session.go_on(rig.session.wait)
        assert rig.inputs.pulses < WRAP // 2 < COUNTER_START, "the counter has wrapped"
        assert rig.now_ms < WRAP // 2, "and so has the clock"


def a_count_that_turns_back_over_the_wrap_is_negative():
    rig = in_state(codes.WINDING, channels=2)
    rig.step(200)
    rig.forced = -400.0
    rig.until(codes.TRIPPED)
    rig.step(500)
    assert rig.session.count == int(rig.turned // 1) < 0


PROMISES = (
    a_job_stops_at_each_stop_and_at_its_target,
    the_drive_is_off_in_every_state_but_winding_and_easing,
    a_request_that_the_table_lacks_is_refused_and_changes_nothing,
    every_state_has_a_way_out_and_no_trip_clears_itself,
    a_switch_that_is_not_fitted_is_absent,
    a_silent_host_pauses_where_the_job_says_so,
    a_pause_eases_to_rest_and_goes_on_to_the_same_target,
    an_abandoned_job_eases_to_rest_and_is_over,
    a_job_abandoned_on_its_last_turns_has_reached_its_target_if_it_ends_there,
    turning_at_rest_is_counted_and_told,
    the_buttons_start_and_go_on_without_a_host,
    a_go_button_that_is_held_starts_nothing_and_passes_no_stop,
    an_abandoned_job_that_trips_is_over_once_it_is_cleared,
    a_job_tripped_before_it_began_is_loaded_again_and_starts_at_zero,
    every_number_that_is_kept_is_below_two_to_the_thirty,
    the_longest_job_of_the_link_ends_on_its_last_pulse,
    a_spool_is_not_started_with_the_guard_open,
    a_counter_and_a_clock_that_wrap_lose_no_pulse,
    a_count_that_turns_back_over_the_wrap_is_negative,
)

if __name__ == "__main__":
    keep(PROMISES)
