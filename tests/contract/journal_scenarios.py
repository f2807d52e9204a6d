"""What the winder keeps over a restart, one function a promise. Runs on both interpreters; prints each name."""

from promises import keep
from rig import LOOP_MS, WRAP, Rig, job_list

from windcore import journal
from windcore.journal import WORDS, Journal, Memory, Registers, crc16
from windcore.session import Session
from windlink import codes
from windlink.job import job_crc

BLIND_MS = 300


class Slots:
    """A flash that counts its writes, and fails when told to."""

    def __init__(self):
        self.slots = [b"", b""]
        self.writes = 0
        self.broken = False

    def read(self, slot):
        return self.slots[slot]

    def write(self, slot, data):
        if self.broken:
            raise OSError(28)
        self.slots[slot] = data
        self.writes += 1


class Kept(Rig):
    """A rig whose memory outlives its restarts."""

    def __init__(self):
        self.words = [0] * WORDS
        self.flash = Slots()
        Rig.__init__(self)
        self.memory = Memory(self.words, self.flash, 0)

    def step(self, count=1):
        for _ in range(count):
            Rig.step(self)
            self.keep()

    def keep(self):
        self.memory.keep_count(self.session)
        if self.memory.due(self.session):
            turning = self.session.state in (codes.WINDING, codes.EASING)
            assert not turning or self.session.poised, "flash is written while the spool turns"
            assert not self.outputs.duty
            self.memory.keep_rest(self.session)
            self.now_ms = (self.now_ms + 400) % WRAP
            self.session.skip_to(self.now_ms)

    def start(self):
        assert self.session.start() == 0
        self.keep()

    def restart(self, cause, power_lost=False, blind_ms=BLIND_MS):
        """The program begins anew: counter at zero, registers kept or not."""
        if power_lost:
            self.words[:] = [123456789, 987654321, 55555, 1 << 29, 77]
            blind_ms = 0
        self.turned = 0.0
        self.inputs.pulses = 0
        self.outputs.off()
        self.memory = Memory(self.words, self.flash, blind_ms)
        self.session = Session(cause, self.memory.past)

    def ends(self):
        for _ in range(20000):
            self.step()
            if self.session.state == codes.WAITING:
                self.session.go_on(self.session.wait)
                self.keep()
            if self.session.state == codes.FINISHED:
                self.step(2)
                return
        raise AssertionError("it does not end")


def winding(count=500):
    """A kept rig in mid-wind."""
    rig = Kept()
    rig.step(40)
    rig.accept(stops=((1000, codes.LAYER_STOP),))
    rig.step()
    rig.start()
    while rig.session.count < count:
        rig.step()
    return rig


def resumed(rig, count):
    """Loaded again under its number, and recounted."""
    values = job_list(stops=((1000, codes.LAYER_STOP),))
    rig.step(40)
    assert rig.session.clear(codes.RESTARTED) == 0
    rig.accept(stops=((1000, codes.LAYER_STOP),))
    assert rig.session.job.crc == job_crc(values)
    assert rig.session.start() == codes.COUNT_OWED
    assert rig.session.recount(count) == 0
    assert rig.session.state == codes.WAITING
    rig.keep()


def the_running_count_outlives_a_reset():
    rig = winding()
    count, rate = rig.session.count, rig.session.rate
    rig.restart(codes.WATCHDOG)
    past = rig.session.past
    assert (past.job_id, past.count, past.rate, past.state) == (77, count, rate, codes.WINDING)
    assert past.source == codes.FROM_REGISTERS
    assert past.dark_ms >= BLIND_MS
    assert (rig.session.state, rig.session.trip_reason) == (codes.TRIPPED, codes.RESTARTED)


def what_turns_after_the_restart_is_counted_on():
    rig = winding()
    count = rig.session.count
    rig.restart(codes.SOFT_RESET)
    rig.forced = 50.0
    rig.step(100)
    rig.forced = 0.0
    rig.step(100)
    assert rig.session.past.count == count + 50
    # and a second restart loses nothing of it, but declares its own dark time too
    rig.restart(codes.SOFT_RESET)
    assert rig.session.past.count == count + 50
    assert rig.session.past.state == codes.WINDING
    assert rig.session.past.dark_ms >= 2 * BLIND_MS


def a_loss_of_power_leaves_the_journal():
    rig = winding()
    rig.restart(codes.POWER_ON, power_lost=True)
    past = rig.session.past
    assert (past.job_id, past.count, past.state, past.source) == (77, 0, codes.WINDING, codes.FROM_JOURNAL)
    assert rig.session.state == codes.TRIPPED
    rig = winding()
    rig.until(codes.WAITING)
    rig.step()
    count = rig.session.count
    rig.restart(codes.POWER_ON, power_lost=True)
    past = rig.session.past
    assert (past.count, past.state, past.rate) == (count, codes.WAITING, 0)


def nothing_is_believed_that_disagrees_with_its_check():
    rig = winding()
    for index in range(4):
        for bit in range(30):
            rig.words[index] ^= 1 << bit
            assert Registers(rig.words).read() is None, (index, bit)
            rig.words[index] ^= 1 << bit
    assert Registers(rig.words).read() is not None
    assert Registers([0] * WORDS).read() is None
    assert Registers([(1 << 30) - 1] * WORDS).read() is None


def what_no_program_wrote_is_not_believed_though_its_check_agrees():
    for rate, state, outcome in ((0, 7, 0), (0, codes.WAITING, 3), (9999999 + 1, codes.WINDING, 0)):
        words = [77, (1 << 24) + 500, rate | state << 24 | outcome << 27, 0, 0]
        words[3] = 0x2A0000 | crc16(crc16(crc16(crc16(0xFFFF, 0), words[0]), words[1]), words[2])
        assert Registers(words).read() is None, (rate, state, outcome)
    words[2] = codes.WINDING << 24
    words[3] = 0x2A0000 | crc16(crc16(crc16(crc16(0xFFFF, 0), words[0]), words[1]), words[2])
    assert Registers(words).read().count == 500


def a_hand_that_turns_the_spool_while_flash_is_written_trips_nothing():
    rig = winding()
    rig.session.pause()
    while rig.session.state != codes.WAITING:
        rig.step()
    rig.memory.keep_rest(rig.session)
    rig.now_ms = (rig.now_ms + 400) % WRAP
    rig.session.skip_to(rig.now_ms)
    rig.turned += rig.session.job.highest_rate / 100 * 0.4
    Rig.step(rig)
    assert rig.session.state == codes.WAITING, rig.session.trip_reason
    # the next step has no such time to explain a leap with
    rig.turned += rig.session.job.highest_rate / 100 * 0.4
    Rig.step(rig)
    assert (rig.session.state, rig.session.trip_reason) == (codes.TRIPPED, codes.BAD_SENSOR)


def an_empty_or_damaged_slot_is_as_if_it_were_not_there():
    flash = Slots()
    assert Journal(flash).read() is None
    kept = Journal(flash)
    for count in (10, 20, 30):
        kept.write(77, "0123ABCD", count, codes.WAITING, 0)
    newest = 0 if Journal(flash).read().count == 30 and b" 30 " in flash.slots[0] else 1
    line = flash.slots[newest]
    for damaged in [line[:length] for length in range(len(line))] + [
        line[:at] + bytes([line[at] ^ 1 << bit]) + line[at + 1 :] for at in range(len(line)) for bit in range(8)
    ]:
        flash.slots[newest] = damaged
        assert Journal(flash).read().count == 20, damaged
    flash.slots = [b"\xff" * 4096, b""]
    assert Journal(flash).read() is None


def a_slot_stays_below_512_bytes_whatever_it_holds():
    flash = Slots()
    kept = Journal(flash)
    kept._newest = (1 << 30) - 2
    kept.write((1 << 30) - 1, "FFFFFFFF", -(1 << 30) + 1, 6, 2)
    assert max(map(len, flash.slots)) <= journal.RECORD_BYTES < 512
    assert Journal(flash).read().count == -(1 << 30) + 1


def the_journal_is_written_before_a_motion_and_after_it_and_no_more():
    rig = winding()
    assert rig.flash.writes == 1
    rig.until(codes.WAITING)
    rig.step(500)
    assert rig.flash.writes == 2
    assert rig.session.go_on(rig.session.wait) == 0
    rig.keep()
    rig.ends()
    rig.step(500)
    assert rig.flash.writes == 4
    print("writes of a job with one stop:", rig.flash.writes)


def a_flash_that_fails_is_counted_and_stops_nothing():
    rig = Kept()
    rig.flash.broken = True
    rig.step(40)
    rig.accept(stops=())
    rig.step()
    rig.start()
    rig.ends()
    assert rig.memory._journal.failures == 2
    assert rig.session.outcome == codes.REACHED


def writing_flash_is_no_late_step():
    rig = winding(0)
    rig.until(codes.WAITING)
    assert rig.session.longest_step_ms <= LOOP_MS


def a_job_goes_on_from_its_recount_past_its_stops_to_its_target():
    rig = winding()
    rig.restart(codes.WATCHDOG)
    count = rig.session.past.count
    resumed(rig, count)
    rig.step(300)
    assert rig.session.count == count, "it moves by itself"
    assert rig.session.past is None
    verb, values = rig.last_event()
    assert (verb, values[0], values[2]) == ("stopped", codes.STOP_AT_RECOUNT, count)
    assert rig.session.go_on(rig.session.wait) == 0
    rig.keep()
    rig.until(codes.WAITING)
    assert abs(rig.session.count - 1000) <= 1
    rig.session.go_on(rig.session.wait)
    rig.keep()
    rig.ends()
    assert abs(rig.session.count - 1500) <= 1
    # the layer that was full before the restart is not told again
    layers = rig.verbs().count("layer_done")
    assert layers == 2, layers


def a_recount_past_the_target_ends_the_job_without_turning():
    rig = winding()
    rig.restart(codes.SOFT_RESET)
    resumed(rig, 1502)
    assert rig.session.go_on(rig.session.wait) == 0
    rig.keep()
    turned = rig.turned
    rig.ends()
    assert rig.turned == turned
    assert rig.session.count == 1502


def a_recount_is_refused_where_it_makes_no_sense():
    rig = winding()
    assert rig.session.recount(100) == codes.WRONG_STATE
    rig.restart(codes.SOFT_RESET)
    assert rig.session.recount(100) == codes.WRONG_STATE
    resumed(rig, 600)
    assert rig.session.recount(1500 * 2 + 8 * 20 + 2) == codes.BAD_FIELDS
    rig.forced = 50.0
    rig.step(10)
    assert rig.session.recount(600) == codes.STILL_TURNS
    rig.forced = None
    rig.step(40)
    assert rig.session.recount(700) == 0
    assert rig.session.count == 700


def a_restart_that_was_asked_for_is_known_from_one_that_was_not():
    for board_says, asked, known in (
        (codes.WATCHDOG, True, codes.COMMANDED),
        (codes.SOFT_RESET, True, codes.COMMANDED),
        (codes.WATCHDOG, False, codes.WATCHDOG),
        (codes.POWER_ON, True, codes.POWER_ON),
    ):
        words = [0] * WORDS
        if asked:
            Registers(words).announce(codes.COMMANDED)
        assert Memory(words, Slots(), 0, board_says).cause == known
        # and it is known once
        assert Memory(words, Slots(), 0, board_says).cause == board_says
    for word in (0, 1 << 16, 0x2BEEF, (1 << 30) - 1):
        assert Memory([0, 0, 0, 0, word], Slots(), 0, codes.WATCHDOG).cause == codes.WATCHDOG


def the_button_does_not_start_a_job_that_owes_its_count():
    rig = winding()
    rig.restart(codes.SOFT_RESET)
    rig.step(40)
    rig.session.clear(codes.RESTARTED)
    rig.accept(stops=((1000, codes.LAYER_STOP),))
    rig.step()
    rig.inputs.switches = codes.GO_BUTTON
    rig.step(10)
    assert rig.session.state == codes.LOADED


def a_job_that_was_over_or_never_began_trips_nothing_at_power_on():
    rig = winding()
    rig.until(codes.WAITING)
    rig.session.abandon()
    rig.step()
    count = rig.session.count
    rig.restart(codes.POWER_ON, power_lost=True)
    past = rig.session.past
    assert (past.count, past.state, past.outcome) == (count, codes.FINISHED, codes.ABANDONED)
    assert rig.session.state == codes.EMPTY
    rig = Kept()
    rig.step(40)
    rig.accept()
    rig.step(40)
    rig.restart(codes.POWER_ON, power_lost=True)
    assert rig.session.past is None
    assert rig.session.state == codes.EMPTY


def a_trip_is_kept_once_the_spool_stands():
    rig = winding()
    rig.inputs.switches = codes.GUARD_SWITCH
    rig.step()
    assert rig.session.state == codes.TRIPPED
    rig.forced = 20.0
    rig.step(50)
    writes = rig.flash.writes
    rig.forced = 0.0
    rig.step(50)
    assert rig.flash.writes == writes, "the sensor may be what tripped it"
    rig.step(600)
    assert rig.flash.writes == writes + 1
    count = rig.session.count
    rig.restart(codes.POWER_ON, power_lost=True)
    assert (rig.session.past.count, rig.session.past.state) == (count, codes.TRIPPED)


PROMISES = (
    the_running_count_outlives_a_reset,
    what_turns_after_the_restart_is_counted_on,
    a_loss_of_power_leaves_the_journal,
    nothing_is_believed_that_disagrees_with_its_check,
    what_no_program_wrote_is_not_believed_though_its_check_agrees,
    an_empty_or_damaged_slot_is_as_if_it_were_not_there,
    a_slot_stays_below_512_bytes_whatever_it_holds,
    the_journal_is_written_before_a_motion_and_after_it_and_no_more,
    a_flash_that_fails_is_counted_and_stops_nothing,
    writing_flash_is_no_late_step,
    a_hand_that_turns_the_spool_while_flash_is_written_trips_nothing,
    a_job_goes_on_from_its_recount_past_its_stops_to_its_target,
    a_recount_past_the_target_ends_the_job_without_turning,
    a_recount_is_refused_where_it_makes_no_sense,
    a_restart_that_was_asked_for_is_known_from_one_that_was_not,
    the_button_does_not_start_a_job_that_owes_its_count,
    a_job_that_was_over_or_never_began_trips_nothing_at_power_on,
    a_trip_is_kept_once_the_spool_stands,
)

if __name__ == "__main__":
    keep(PROMISES)
