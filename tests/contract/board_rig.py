"""The rig of the session's scenarios, with a board file and its pins between session and motor. For both interpreters.

Arguments: port, channels. The shaft turns as the pins say, and the session sees what the board's counters and
switches make of it. What the scenarios poke into the inputs goes by the pins: a switch is given its debounce.
"""

import sys

import rig
from promises import keep

from fakes import bench
from fakes.world import WORLD
from windcore.signals import Inputs
from windlink import codes

PORT, CHANNELS = sys.argv[1], int(sys.argv[2])
_LOOKS = 3  # that a switch needs to be believed

# What a scenario does that pins cannot: counters poked, steps of a second and a half, rates of thousands of pulses.
_NOT_BY_PINS = (
    "every_number_that_is_kept_is_below_two_to_the_thirty",
    "a_counter_and_a_clock_that_wrap_lose_no_pulse",
    "a_count_that_turns_back_over_the_wrap_is_negative",
    "the_drive_is_off_in_every_state_but_winding_and_easing",
)
# And what takes two channels, since it turns the shaft back.
_BY_TWO_CHANNELS = ("a_stop_from_which_the_strand_draws_the_spool_back_was_reached_all_the_same",)


class BoardRig(rig.Rig):
    """A session on a board on the bench."""

    def __init__(self, cause=codes.POWER_ON):
        super().__init__(cause)
        self.board = bench.switch_on(PORT, CHANNELS)
        self.read = Inputs()
        self._pressed = 0

    @property
    def turned(self):
        return WORLD.shaft.turned

    @turned.setter
    def turned(self, pulses):
        if WORLD.shaft is None or not hasattr(self, "board"):
            return
        # by quarters, as a hand would, and not all at once
        while abs(pulses - WORLD.shaft.turned) > 0.25:
            WORLD.shaft.turn(0.25 if pulses > WORLD.shaft.turned else -0.25)
            WORLD.pass_quietly(400)
        WORLD.shaft.turn(pulses - WORLD.shaft.turned)
        WORLD.pass_quietly(400)

    def step(self, count=1):
        for _ in range(count):
            shaft = WORLD.shaft
            job = self.session.job
            shaft.full_rate = job.full_rate / 100
            shaft.steps_per_pulse = job.step_numerator / job.step_denominator
            shaft.forced = 0.0 if self.stuck else self.forced
            if job.drive == codes.HAND and self.forced is None:
                shaft.forced = 30.0 if 0 < self.outputs.lamp < 4 else 0.0
            looks = _LOOKS if self.inputs.switches != self._pressed else 0
            self._pressed = self.inputs.switches
            bench.press(self._pressed)
            for _ in range(looks):
                self.board.read(self.read)
            WORLD.advance(10000)
            self.board.read(self.read)
            self.now_ms = self.board.now_ms()
            self.read.silent_ms = self.inputs.silent_ms
            self.session.step(self.read, self.outputs, self.now_ms)
            self.board.apply(self.outputs)
            self.board.feed()
            if not self.outputs.duty and not self.outputs.step_rate:
                assert not bench.turns(), "the motor is driven although the session drives nothing"


rig.Rig = BoardRig

import session_scenarios  # noqa: E402 - both take their rig from there
import session_speed_scenarios  # noqa: E402 - so that it stands before they are read

if __name__ == "__main__":
    both = session_scenarios.PROMISES + session_speed_scenarios.PROMISES
    keep(both, but=_NOT_BY_PINS + (_BY_TWO_CHANNELS if CHANNELS == 1 else ()))
