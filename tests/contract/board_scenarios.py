"""What a board promises, one function a promise, with the whole program on it. Runs on both interpreters.

Arguments: port, channels. A host speaks to the board over its port while the loop sleeps, the shaft turns as the pins
say, and the motor's pins are looked at after every way out.
"""

import sys

from promises import keep
from rig import job_list

from fakes import bench
from fakes.world import WORLD, Bitten
from windcore.journal import WORDS
from windcore.loop import run
from windcore.ticks import LEASE_MS, WATCHDOG_MS
from windlink import codes
from windlink.codec import decode, encode
from windlink.frame import ANSWER, EVENT, REQUEST, FrameError
from windlink.job import job_crc

PORT = sys.argv[1] if len(sys.argv) > 1 else "rp2"
CHANNELS = int(sys.argv[2]) if len(sys.argv) > 2 else 1
_PART = 8
_MOST_S = 400


class DoneError(Exception):
    """The host has seen what it waited for; ends the loop as any exception does."""


class Host:
    """One request at a time, each answered before the next. Called whenever the board sleeps."""

    def __init__(self, script):
        self._script = script
        self._sequence = 0
        self._line = b""
        self._waits = False
        self.events = []
        self.answer = None
        self.stops_at_s = WORLD.now_us // 1000000 + _MOST_S

    def __call__(self):
        """Read what was told, then go on with the script."""
        WORLD.room = 256
        for line in self._lines():
            try:
                message, sequence, values = decode(line)
            except FrameError:
                continue
            if message.kind == ANSWER and sequence == self._sequence:
                self.answer = (message.verb, values)
                self._waits = False
            elif message.kind == EVENT and sequence not in [number for number, _, _ in self.events]:
                self.events.append((sequence, message.verb, values))
        assert WORLD.now_us // 1000000 < self.stops_at_s, "nothing comes of it"
        if not self._waits:
            wanted = next(self._script)
            if wanted is not None:
                self._sequence = self._sequence % 999 + 1
                WORLD.typed.extend(encode(REQUEST, self._sequence, wanted[0], wanted[1]))
                self._waits = True

    def _lines(self):
        self._line += bytes(WORLD.told)
        WORLD.told[:] = b""
        lines = self._line.split(b"\n")
        self._line = lines[-1]
        return [line + b"\n" for line in lines[:-1]]

    def happened(self, verb):
        """How many events of this verb have come."""
        return len([1 for _, found, _ in self.events if found == verb])


def loading(job):
    """Open a session and load a job."""
    yield "hello", (1, 0, 7)
    yield "limits", ()
    yield "offer", (77, len(job))
    for offset in range(0, len(job), _PART):
        yield "part", (77, offset) + tuple(job[offset : offset + _PART])
    yield "accept", (77, job_crc(job))


def winding(host_of, job):
    """Load a job, wind it through its stops to its end, then end the loop."""
    for request in loading(job):
        yield request
    assert host_of[0].answer[0] == "done", host_of[0].answer
    yield "start", (77,)
    assert host_of[0].answer[0] == "done", host_of[0].answer
    passed = 0
    while True:
        yield "status", ()
        state, wait = host_of[0].answer[1][0], host_of[0].answer[1][4]
        if state == codes.WAITING and host_of[0].happened("stopped") > passed:
            passed += 1
            yield "go_on", (77, wait)
        elif state in (codes.FINISHED, codes.TRIPPED):
            yield "events", ()
            if host_of[0].happened("ended") or state == codes.TRIPPED:
                raise DoneError
            yield "ack", (host_of[0].events[-1][0],)
        else:
            for _ in range(5):
                yield None
            if host_of[0].events:
                yield "ack", (host_of[0].events[-1][0],)


def wind(board, **changes):
    """Run the loop until the host has seen the job's end; the host."""
    host_of = []
    changes["channels"] = CHANNELS
    host = Host(winding(host_of, job_list(**changes)))
    host_of.append(host)
    WORLD.between = host
    try:
        run(board)
    except DoneError:
        pass
    WORLD.between = None
    return host


def ending(host):
    """Outcome and count of the job's end, by its event."""
    for _, verb, values in host.events:
        if verb == "ended":
            return values
    raise AssertionError([verb for _, verb, _ in host.events])


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


def driven(board, passes=30, duty=700):
    """Drive the motor for some passes, as the loop does."""
    from windcore.signals import Inputs, Outputs

    outputs = Outputs()
    outputs.duty = duty
    inputs = Inputs()
    for _ in range(passes):
        board.read(inputs)
        board.apply(outputs)
        board.feed()
        board.wait()
    assert bench.turns()
    return inputs, outputs


def interrupted(what):
    """Run a job, and let this happen in the middle of it; what ends the loop."""
    board = bench.switch_on(PORT, CHANNELS, rate=60.0)
    host_of = []
    host = Host(winding(host_of, job_list(stops=(), channels=CHANNELS)))
    host_of.append(host)

    def between():
        if WORLD.shaft.turned > 20 and bench.turns():
            what(board)
        host()

    WORLD.between = between
    try:
        run(board)
    except BaseException as failure:
        WORLD.between = None
        return board, failure
    raise AssertionError("the loop went on")


def every_way_out_of_the_loop_leaves_the_motor_pins_low():
    def press_interrupt(_):
        WORLD.typed.append(3)

    _, failure = interrupted(press_interrupt)
    assert isinstance(failure, KeyboardInterrupt)
    assert bench.low()
    for kind in (MemoryError, OSError, ValueError):

        def fail(_, kind=kind):
            raise kind

        _, failure = interrupted(fail)
        assert isinstance(failure, kind)
        assert bench.low()


def a_loop_that_stands_still_loses_the_motor_when_its_lease_ends():
    board = bench.switch_on(PORT, CHANNELS)
    _, outputs = driven(board)
    WORLD.advance((LEASE_MS + 1) * 1000)
    assert bench.low()
    board.apply(outputs)
    assert bench.turns(), "the next word of the loop drives again"
    board.apply(outputs)
    # within a call of C only a hard timer gets its turn
    WORLD.advance((LEASE_MS + 1) * 1000, interpreting=False)
    assert bench.low() == (PORT == "rp2")


def a_lease_ends_steps_too():
    from windcore.signals import Outputs

    board = bench.switch_on(PORT, CHANNELS)
    outputs = Outputs()
    outputs.step_rate = 1000
    for _ in range(20):
        board.apply(outputs)
        board.wait()
    assert bench.turns()
    WORLD.advance((LEASE_MS + 1) * 1000)
    assert bench.low()
    board.apply(outputs)
    before = WORLD.shaft.turned
    WORLD.advance(30000)
    assert bench.turns()
    assert WORLD.shaft.turned > before


def a_hang_ends_in_a_reset_and_the_next_start_drives_nothing_and_says_why():
    board = bench.switch_on(PORT, CHANNELS)
    driven(board)
    try:
        WORLD.advance((WATCHDOG_MS + 100) * 1000, interpreting=False)
        raise AssertionError("the watchdog has not bitten")
    except Bitten:
        pass
    assert bench.low()
    board = bench.opened()
    assert board.identity.cause == codes.WATCHDOG
    assert board.blind_ms >= WATCHDOG_MS
    host_of = []

    def asking():
        yield "hello", (1, 0, 8)
        assert host_of[0].answer[1][6] == codes.WATCHDOG
        yield "status", ()
        assert host_of[0].answer[1][0] == codes.TRIPPED
        assert host_of[0].answer[1][5] == codes.RESTARTED
        raise DoneError

    host_of.append(Host(asking()))
    WORLD.between = host_of[0]
    try:
        run(board)
    except DoneError:
        pass
    WORLD.between = None
    assert bench.low()


def a_restart_of_the_interpreter_leaves_the_motor_to_boot_which_comes_first():
    from boards import motor_pins

    runs_on = 0
    for late_us in range(0, 50, 5):
        board = bench.switch_on(PORT, CHANNELS)
        driven(board)
        WORLD.advance(late_us)
        WORLD.soft_reset()
        runs_on += bench.turns()
        before = sys.platform
        fixed = motor_pins.MOTOR_PINS.get(before)
        pins = motor_pins.described_pins("machine.json")
        assert pins == bench.motor_pins(), (pins, fixed)
        for number in pins:
            bench.fakes.machine.Pin(number, bench.fakes.machine.Pin.OUT, value=0)
        assert bench.low()
        board = bench.opened()
        assert board.identity.cause == codes.SOFT_RESET
    assert runs_on, "without boot.py the motor would have run on"


def registers_outlive_a_reset_and_hold_thirty_bits():
    board = bench.switch_on(PORT, CHANNELS)
    words = (0, 1, (1 << 30) - 1, 0x2C5A9E31, 0x13B46A77)
    for index, word in enumerate(words):
        board.backup[index] = word
    WORLD.chip_reset(True)
    board = bench.opened()
    assert [board.backup[index] for index in range(WORDS)] == list(words)
    assert board.blind_ms == 0, "who left word of the end does not say how long ago"


def started(script):
    """Run main.py on the present board, with a host that follows a script; what ended it, or None."""
    import main

    main.BOARD_FILES[sys.platform] = "pico" if PORT == "rp2" else "esp32"
    host_of = []
    host_of.append(Host(script(host_of)))
    WORLD.between = host_of[0]
    try:
        main.main()
    except (DoneError, SystemExit) as ended:
        return ended
    finally:
        WORLD.between = None
    return None


def a_restart_for_an_upload_runs_no_watchdog_and_the_start_after_it_was_asked_for():
    bench.switch_on(PORT, CHANNELS)

    def asking(host_of):
        yield "hello", (1, 0, 9)
        yield "maintenance", ()
        assert host_of[0].answer[0] == "done", host_of[0].answer
        while True:
            yield None

    assert isinstance(started(asking), SystemExit), "the chip is reset"
    WORLD.told[:] = b""
    assert started(asking) is None
    assert b"port is free" in bytes(WORLD.told)
    assert WORLD.bites_at_us is None
    assert bench.low()
    WORLD.told[:] = b""
    WORLD.soft_reset()

    def told_why(host_of):
        yield "hello", (1, 0, 10)
        assert host_of[0].answer[1][6] == codes.COMMANDED, host_of[0].answer
        raise DoneError

    assert isinstance(started(told_why), DoneError)


def a_board_without_a_description_ends_in_the_prompt_and_not_in_a_loop_of_starts():
    import os

    bench.switch_on(PORT, CHANNELS)
    os.remove("machine.json")
    assert started(lambda _: iter(())) is None
    assert WORLD.bites_at_us is None


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
    every_way_out_of_the_loop_leaves_the_motor_pins_low,
    a_loop_that_stands_still_loses_the_motor_when_its_lease_ends,
    a_lease_ends_steps_too,
    a_hang_ends_in_a_reset_and_the_next_start_drives_nothing_and_says_why,
    a_restart_of_the_interpreter_leaves_the_motor_to_boot_which_comes_first,
    registers_outlive_a_reset_and_hold_thirty_bits,
    a_restart_for_an_upload_runs_no_watchdog_and_the_start_after_it_was_asked_for,
    a_board_without_a_description_ends_in_the_prompt_and_not_in_a_loop_of_starts,
    a_host_that_does_not_read_holds_nothing_up,
    a_flood_of_bytes_is_taken_in_parts,
    a_stop_button_acts_at_once_and_a_switch_that_chatters_once,
    a_brake_holds_the_driver_enabled_and_off_lets_it_go,
    one_pin_of_a_pico_has_a_pwm_so_that_no_two_can_share_its_frequency,
)

if __name__ == "__main__":
    keep(PROMISES)
