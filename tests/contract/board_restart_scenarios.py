"""What a board promises at the loop's end and at a start, one function a promise. Runs on both interpreters.

Arguments: port, channels. The motor's pins are looked at after every way out.
"""

import sys

from board_host import CHANNELS, PORT, DoneError, Host, driven, winding
from promises import keep
from rig import job_list

from boards.hardware import LEASE_LOOK_MS
from fakes import bench
from fakes.world import WORLD, Bitten
from windcore.journal import WORDS
from windcore.loop import run
from windcore.ticks import LEASE_MS, WATCHDOG_MS
from windlink import codes


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
    WORLD.advance((LEASE_MS + LEASE_LOOK_MS + 1) * 1000)
    assert bench.low()
    board.apply(outputs)
    assert bench.turns(), "the next word of the loop drives again"
    board.apply(outputs)
    # within a call of C only a hard timer gets its turn
    WORLD.advance((LEASE_MS + LEASE_LOOK_MS + 1) * 1000, interpreting=False)
    assert bench.low() == (PORT == "rp2")


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


PROMISES = (
    every_way_out_of_the_loop_leaves_the_motor_pins_low,
    a_loop_that_stands_still_loses_the_motor_when_its_lease_ends,
    a_hang_ends_in_a_reset_and_the_next_start_drives_nothing_and_says_why,
    a_restart_of_the_interpreter_leaves_the_motor_to_boot_which_comes_first,
    registers_outlive_a_reset_and_hold_thirty_bits,
    a_restart_for_an_upload_runs_no_watchdog_and_the_start_after_it_was_asked_for,
    a_board_without_a_description_ends_in_the_prompt_and_not_in_a_loop_of_starts,
)

if __name__ == "__main__":
    keep(PROMISES)
