"""What the session promises of speed and of coming to rest, one function a promise. Runs on both interpreters."""

from promises import keep
from rig import in_state

from windcore.brake import LONGEST_LAG_MS, Brake
from windcore.signals import LAMP_NEARLY, LAMP_SLOWER, LAMP_STOP, LAMP_WIND
from windcore.speed import Speedometer
from windcore.ticks import WRAP
from windlink import codes


def a_hand_is_told_ahead_and_its_overshoot_is_counted():
    rig = in_state(codes.WINDING, drive=codes.HAND, stops=())
    rig.forced = 40.0
    seen = []
    while rig.session.state == codes.WINDING:
        rig.step()
        if rig.outputs.lamp not in seen:
            seen.append(rig.outputs.lamp)
    assert seen == [LAMP_WIND, LAMP_SLOWER, LAMP_NEARLY, LAMP_STOP], seen
    rig.step(20)
    rig.forced = 0.0
    rig.until(codes.FINISHED)
    assert rig.session.count == int(rig.turned // 1) > 1505


def a_hand_is_warned_by_the_time_that_is_left_at_its_speed_and_not_by_a_count():
    left = {}
    for speed in (10.0, 40.0, 120.0):
        rig = in_state(codes.WINDING, drive=codes.HAND, stops=(), highest_rate=100000, lead_ms=2000)
        rig.forced = speed
        while rig.outputs.lamp == LAMP_WIND:
            rig.step()
        left[speed] = 1500 - rig.session.count
        assert rig.outputs.lamp == LAMP_SLOWER
        assert not rig.outputs.buzzer
        # two seconds ahead, but for a step and the pulses that a window of the rate may be off by
        assert abs(left[speed] / speed - 2.0) < 0.5, left
        while rig.outputs.lamp in (LAMP_WIND, LAMP_SLOWER):
            rig.step()
        assert rig.outputs.lamp == LAMP_NEARLY
        assert abs((1500 - rig.session.count) / speed - 2.0 / 3) < 0.3
        while not rig.outputs.buzzer:
            rig.step()
        assert rig.outputs.lamp == LAMP_STOP
        assert rig.session.count >= 1500
    assert left[10.0] * 8 < left[120.0]


def a_brake_is_learned_on_the_way_up_and_corrected_by_a_stop_that_was_run_over():
    brake = Brake()
    brake.prepare(6000, 100)
    assert brake.lag_ms == 0
    # a spool whose rate nears that of its duty by a share of 1/2 in a second, at full duty: the lag is 2 s
    rate = 0.0
    for _ in range(150):
        brake.rising(1000, int(rate), 10)
        rate += (6000 - rate) / 2 * 0.01
    learned = brake.lag_ms
    assert 1900 * 10 // 8 < learned < 2100 * 10 // 8, learned
    brake.begin()
    assert brake.lag_ms == learned, "it holds until the next way up has told more"
    brake.ran_over(0)
    assert brake.lag_ms == learned * 14 // 10
    brake.ran_over(9000)
    assert brake.lag_ms == 9000
    for _ in range(20):
        brake.ran_over(0)
    assert 9000 < brake.lag_ms <= LONGEST_LAG_MS
    # one that never moves, and one that turns the drive: no lag, and no number that grows without end
    brake.prepare(32767, 1)
    for _ in range(10000):
        brake.rising(1000, 0, 100)
    assert brake.lag_ms == 0
    brake.begin()
    brake.rising(0, 32767, 100)
    assert brake.lag_ms == 0


LINE = {"line_turn": 30000, "line_first": 27000, "line_rise": 9000, "layer_numerator": 300, "first_numerator": 300}


def a_spool_that_grows_is_slowed_so_that_its_strand_keeps_its_speed():
    for drive in (codes.DC, codes.STEPPER):
        rig = in_state(codes.WINDING, drive=drive, stops=(), **LINE)
        ramp = rig.session.motion.ramp
        seen = {}
        while rig.session.state == codes.WINDING:
            before = ramp.rate
            rig.step()
            if rig.session.state == codes.WINDING:
                # 4000 hundredths of a pulse a second, in a second
                assert abs(ramp.rate - before) <= 4000 * rig.session.motion.grain // 100 // 100 + 1
                seen[rig.session.layer()] = ramp.rate * 100 // rig.session.motion.grain
        # turns of 27000, 36000, 45000 and 54000; the fifth layer is not reached
        assert [seen[layer] for layer in (1, 2, 3, 4)] == [4000, 3333, 2666, 2222], seen
        rig.until(codes.FINISHED)
        assert 1500 <= rig.session.count <= 1501


def a_hand_that_draws_the_strand_too_fast_is_told_until_it_is_slower():
    rig = in_state(codes.WINDING, drive=codes.HAND, stops=(), **LINE)
    told = []
    for rate, lamp in ((40.0, LAMP_WIND), (52.0, LAMP_SLOWER), (30.0, LAMP_WIND)):
        rig.forced = rate
        rig.step(60)
        told.append(rig.outputs.lamp)
        assert rig.outputs.lamp == lamp, told
    # the same speed is too fast for a longer turn
    rig.forced = 40.0
    while rig.session.layer() < 2:
        rig.step()
    rig.step(60)
    assert rig.outputs.lamp == LAMP_SLOWER
    rig = in_state(codes.WINDING, drive=codes.HAND, stops=())
    rig.forced = 80.0
    rig.step(60)
    assert rig.outputs.lamp == LAMP_WIND, "without a wish there is no too fast"


def a_stop_from_which_the_strand_draws_the_spool_back_was_reached_all_the_same():
    rig = in_state(codes.WINDING, channels=2)
    for _ in range(2):
        while not rig.outputs.brake:
            rig.step()
        rig.turned -= 5
        rig.until(codes.WAITING)
        assert rig.last_event()[1][2] == rig.session.count == int(rig.turned // 1)
        assert rig.session.go_on(rig.session.wait) == 0
        rig.step()
    while not rig.outputs.brake:
        rig.step()
    rig.turned -= 5
    rig.until(codes.FINISHED)
    assert 1495 <= rig.session.count <= 1496


def a_spool_that_has_stood_for_weeks_tells_its_speed_from_the_first_pulses_on():
    meter = Speedometer()
    now_ms = 0
    for _ in range(0, 3 << 30, 50000):
        now_ms = (now_ms + 50000) % WRAP
        assert meter.update(0, now_ms) == 0
        assert meter.quiet_ms >= 50000
    # half a wrap and a step less: the moment that an old clock would divide by zero
    for pulse in range(1, 41):
        now_ms = (now_ms + 10) % WRAP
        rate = meter.update(pulse, now_ms)
    assert rate == 100, rate


PROMISES = (
    a_spool_that_has_stood_for_weeks_tells_its_speed_from_the_first_pulses_on,
    a_hand_is_told_ahead_and_its_overshoot_is_counted,
    a_hand_is_warned_by_the_time_that_is_left_at_its_speed_and_not_by_a_count,
    a_brake_is_learned_on_the_way_up_and_corrected_by_a_stop_that_was_run_over,
    a_spool_that_grows_is_slowed_so_that_its_strand_keeps_its_speed,
    a_hand_that_draws_the_strand_too_fast_is_told_until_it_is_slower,
    a_stop_from_which_the_strand_draws_the_spool_back_was_reached_all_the_same,
)

if __name__ == "__main__":
    keep(PROMISES)
