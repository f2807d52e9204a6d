"""What a board promises while its loop runs, one function a promise. Runs on both interpreters.

Arguments: port, channels. A host speaks to the board over its port while the loop sleeps, and the shaft turns as the
pins say.
"""

from board_host import CHANNELS, PORT, driven, ending, wind
from promises import keep

from fakes import bench
from fakes.world import WORLD
from windlink import codes


def a_job_comes_by_the_port_and_ends_on_its_pulse():
    for drive in (codes.DC, codes.STEPPER):
        board = bench.switch_on(PORT, CHANNELS, rate=60.0)
        start = WORLD.shaft.turned
        host = wind(
            board,
            drive=drive,
            stops=((60, codes.LAYER_STOP),),
            layer_numerator=60,
            first_numerator=60,
            target_pulses=130,
            cruise_rate=4000,
        )
        assert host.happened("stopped") == 1
        assert 130 <= int(WORLD.shaft.turned - start) <= 131, WORLD.shaft.turned
        assert ending(host)[2] == int(WORLD.shaft.turned - start), (ending(host), WORLD.shaft.turned)
        assert bench.low()


def a_sensor_that_bounces_counts_no_more_than_one_that_does_not():
    if PORT == "esp32":
        return  # its counter filters spikes only, as its file says
    board = bench.switch_on(PORT, CHANNELS, rate=60.0, bounce=3)
    start = WORLD.shaft.turned
    host = wind(board, stops=(), target_pulses=100)
    assert ending(host)[2] == int(WORLD.shaft.turned - start)


def a_board_tells_what_it_can_do_and_no_more():
    board = bench.switch_on(PORT, CHANNELS)
    both = codes.CAN_DC | codes.CAN_STEPPER | codes.CAN_HAND
    every = codes.STOP_BUTTON | codes.GUARD_SWITCH | codes.RUN_OUT_SWITCH | codes.TENSION_SWITCH | codes.GO_BUTTON
    quadrature = codes.CAN_QUADRATURE if CHANNELS == 2 else 0
    if CHANNELS == 2 and PORT == "rp2":
        quadrature |= codes.CAN_CHECK_QUADRATURE
    assert board.identity.capabilities == both | every | quadrature
    assert board.identity.board == ("pico" if PORT == "rp2" else "esp32")
    assert bench.switch_on(PORT, CHANNELS, wheel=True).identity.capabilities & codes.MEASURING_WHEEL


def a_sensor_that_stands_high_counts_nothing_while_its_shaft_stands():
    from windcore.signals import Inputs

    for quarter in range(4):
        board = bench.switch_on(PORT, CHANNELS)
        WORLD.shaft.turn(quarter / 4)
        WORLD.chip_reset(False)
        board = bench.opened()
        inputs = Inputs()
        seen = []
        for _ in range(20):
            board.read(inputs)
            seen.append(inputs.pulses)
            board.wait()
        assert seen == [seen[0]] * 20, seen


def a_host_that_does_not_read_holds_nothing_up():
    board = bench.switch_on(PORT, CHANNELS)
    WORLD.room = 0
    began_us = WORLD.now_us
    assert not board.send(b"=1 progress\n")
    WORLD.room = 5
    assert board.send(b"=1 progress\n")
    assert not board.send(b"=2 progress\n")
    assert WORLD.now_us == began_us
    WORLD.room = 100
    assert board.send(b"=3 progress\n")
    assert bytes(WORLD.told) == b"=1 progress\n=3 progress\n"
    assert WORLD.stalls == 0


def a_flood_of_bytes_is_taken_in_parts():
    board = bench.switch_on(PORT, CHANNELS)
    WORLD.typed.extend(b"x" * 1000)
    room = bytearray(128)
    assert board.receive(room) == 32
    assert len(WORLD.typed) == 968


def a_stop_button_acts_at_once_and_a_switch_that_chatters_once():
    from windcore.signals import Inputs

    board = bench.switch_on(PORT, CHANNELS)
    inputs = Inputs()
    board.read(inputs)
    bench.press(codes.STOP_BUTTON | codes.GUARD_SWITCH)
    board.read(inputs)
    assert inputs.switches == codes.STOP_BUTTON | codes.GUARD_SWITCH
    bench.press(0)
    seen = []
    for _ in range(4):
        board.read(inputs)
        seen.append(inputs.switches)
    assert seen == [3, 3, 0, 0]
    seen = []
    for pressed in (16, 0, 16, 0, 16, 16, 16, 0, 16, 0, 0, 0):
        bench.press(pressed)
        board.read(inputs)
        seen.append(inputs.switches)
    assert seen == [0, 0, 0, 0, 0, 16, 16, 16, 16, 16, 16, 0]


def a_brake_holds_the_driver_enabled_and_off_lets_it_go():
    from windcore.signals import Outputs

    board = bench.switch_on(PORT, CHANNELS)
    enable = WORLD.pin(bench.motor_pins()[0])
    _, outputs = driven(board)
    outputs.duty = 0
    outputs.brake = 1
    board.apply(outputs)
    WORLD.advance(1000)
    assert enable.level() == 1
    assert not bench.turns()
    board.apply(Outputs())
    assert enable.level() == 0


def one_pin_of_a_pico_has_a_pwm_so_that_no_two_can_share_its_frequency():
    from windcore.signals import LAMP_WIND, Outputs

    board = bench.switch_on(PORT, CHANNELS, wheel=True)
    outputs = Outputs()
    outputs.duty, outputs.step_rate, outputs.lamp, outputs.buzzer = 500, 400, LAMP_WIND, 1
    board.apply(outputs)
    by_pwm = [number for number in WORLD.shaft._pins.values() if WORLD.pin(number).driven_by == "pwm"]
    _, motor_pwm, step = bench.motor_pins()
    assert sorted(by_pwm) == ([motor_pwm] if PORT == "rp2" else sorted((motor_pwm, step)))


PROMISES = (
    a_board_tells_what_it_can_do_and_no_more,
    a_sensor_that_stands_high_counts_nothing_while_its_shaft_stands,
    a_job_comes_by_the_port_and_ends_on_its_pulse,
    a_sensor_that_bounces_counts_no_more_than_one_that_does_not,
    a_host_that_does_not_read_holds_nothing_up,
    a_flood_of_bytes_is_taken_in_parts,
    a_stop_button_acts_at_once_and_a_switch_that_chatters_once,
    a_brake_holds_the_driver_enabled_and_off_lets_it_go,
    one_pin_of_a_pico_has_a_pwm_so_that_no_two_can_share_its_frequency,
)

if __name__ == "__main__":
    keep(PROMISES)
