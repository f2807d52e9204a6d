"""What becomes of a wind whose loop comes late, on a board's pins: it drives on, or trips. Runs on both interpreters.

Arguments: port, channels.
"""

from board_rig import CHANNELS, PORT, BoardRig
from promises import keep

from boards.hardware import LEASE_LOOK_MS
from fakes import bench
from fakes.world import WORLD
from windcore.signals import Outputs
from windcore.ticks import LEASE_MS, LOOP_MS
from windlink import codes

_LONGEST_IN_ORDER_MS = LEASE_MS - 1  # an RP2040 takes up to 40 ms for a pass now and then


def winding(drive):
    rig = BoardRig()
    rig.step(3)
    rig.accept(drive=drive, channels=CHANNELS, stops=())
    rig.step()
    assert rig.session.start() == 0
    rig.step(150)
    assert rig.session.state == codes.WINDING
    assert bench.turns()
    return rig


def late_pass(rig, time_us, phase_us):
    """Let a pass last so long, after one that moved it against the lease's timer; whether the motor went off."""
    board = rig.board
    turned = True
    for passes_us in (LOOP_MS * 1000 + phase_us, time_us):
        WORLD.advance(passes_us)
        turned = bench.turns()
        board.read(rig.read)
        rig.now_ms = board.now_ms()
        rig.session.step(rig.read, rig.outputs, rig.now_ms)
        board.apply(rig.outputs)
        board.feed()
    return not turned


def a_drive_that_its_lease_has_ended_never_comes_back_without_a_trip():
    for drive in (codes.DC, codes.STEPPER):
        ended = 0
        for late_ms in range(44, 60):
            for phase_us in (0, 1300, 3700):
                rig = winding(drive)
                went_off = late_pass(rig, 1000 * late_ms, phase_us)
                tripped = rig.session.trip_reason == codes.LATE_LOOP
                assert tripped or not went_off, (drive, late_ms, phase_us)
                assert tripped == (not bench.turns()), (drive, late_ms, phase_us)
                assert not tripped or late_ms > _LONGEST_IN_ORDER_MS, (drive, late_ms, phase_us)
                assert tripped or late_ms < LEASE_MS, (drive, late_ms, phase_us)
                ended += went_off
        assert ended, "no pass was late enough to try anything"


def a_lease_that_ends_just_as_the_loop_looks_at_it_is_seen_all_the_same():
    for drive in (codes.DC, codes.STEPPER):
        rig = winding(drive)
        board = rig.board
        WORLD.advance(3 * LOOP_MS * 1000)
        board.read(rig.read)
        rig.session.step(rig.read, rig.outputs, board.now_ms())
        # the timer comes between the reading and the drive, and neither pass is late by the clock
        while not bench.low():
            WORLD.advance(1000)
        board.apply(rig.outputs)
        rig.step()
        assert rig.session.trip_reason == codes.LATE_LOOP
        assert rig.session.trip_limit == 0, "the board was first"
        assert not bench.turns()


def a_drive_whose_lease_has_ended_is_put_in_order_before_it_drives_again():
    for duty, step_rate in ((700, 0), (0, 1000)):
        board = bench.switch_on(PORT, CHANNELS)
        outputs = Outputs()
        outputs.duty, outputs.step_rate = duty, step_rate
        for _ in range(3):
            before = WORLD.shaft.turned
            for _ in range(5):
                board.apply(outputs)
                board.wait()
            assert bench.turns()
            assert duty or WORLD.shaft.turned > before
            WORLD.advance((LEASE_MS + LEASE_LOOK_MS + 1) * 1000)
            assert bench.low()


def flash_that_is_written_as_a_motion_begins_trips_nothing():
    rig = BoardRig()
    rig.step(3)
    rig.accept(stops=(), channels=CHANNELS)
    rig.step()
    assert rig.session.start() == 0
    WORLD.advance(3 * LEASE_MS * 1000)
    rig.session.skip_to(rig.board.now_ms())
    rig.step(50)
    assert rig.session.state == codes.WINDING, rig.session.trip_reason
    assert bench.turns()


PROMISES = (
    a_drive_that_its_lease_has_ended_never_comes_back_without_a_trip,
    a_lease_that_ends_just_as_the_loop_looks_at_it_is_seen_all_the_same,
    a_drive_whose_lease_has_ended_is_put_in_order_before_it_drives_again,
    flash_that_is_written_as_a_motion_begins_trips_nothing,
)

if __name__ == "__main__":
    keep(PROMISES)
