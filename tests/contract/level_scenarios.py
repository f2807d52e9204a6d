"""A tension level acts like its switches, on either board. For both interpreters. Arguments: port, channels."""

import sys

from promises import keep

from fakes import bench
from fakes.world import WORLD
from windcore.signals import Inputs
from windlink import codes

PORT, CHANNELS = sys.argv[1], int(sys.argv[2])
SNAG, SLACK = 800, 100


def reader(**limits):
    """A function that sets the voltage, in thousandths of the supply's, and gives the switches that the board sees."""
    board = bench.switch_on(PORT, CHANNELS, **limits)
    inputs = Inputs()

    def seen(permille, looks=4):
        WORLD.pin(bench.LEVEL_PIN[PORT]).permille_outside = permille
        for _ in range(looks):
            board.read(inputs)
        return inputs.switches

    return seen


def a_level_above_its_limit_is_a_snag_and_one_below_is_strand_that_ran_out():
    seen = reader(tension_snag_permille=SNAG, tension_slack_permille=SLACK)
    assert seen(400) == 0
    assert seen(SNAG + 2) == codes.TENSION_SWITCH
    assert seen(SNAG - 2) == 0
    assert seen(SLACK - 2) == codes.RUN_OUT_SWITCH
    assert seen(SLACK + 2) == 0
    assert (seen(1000), seen(0)) == (codes.TENSION_SWITCH, codes.RUN_OUT_SWITCH)


def a_level_acts_at_the_second_look_and_is_released_at_the_third():
    seen = reader(tension_snag_permille=SNAG)
    assert [seen(900, 1), seen(900, 1)] == [0, codes.TENSION_SWITCH]
    assert [seen(400, 1), seen(400, 1), seen(400, 1)] == [codes.TENSION_SWITCH, codes.TENSION_SWITCH, 0]
    assert [seen(permille, 1) for permille in (900, 400, 900, 400)] == [0, 0, 0, 0]


def without_a_limit_a_level_acts_nowhere():
    assert reader(tension_snag_permille=SNAG)(0) == 0
    assert reader(tension_slack_permille=SLACK)(1000) == 0


def a_switch_beside_the_level_acts_as_well_and_each_holds_the_trip_by_itself():
    seen = reader(tension_snag_permille=SNAG)
    bench.press(codes.TENSION_SWITCH)
    assert seen(400) == codes.TENSION_SWITCH
    assert seen(900) == codes.TENSION_SWITCH
    bench.press(0)
    assert seen(900) == codes.TENSION_SWITCH
    assert seen(400) == 0


PROMISES = (
    a_level_above_its_limit_is_a_snag_and_one_below_is_strand_that_ran_out,
    a_level_acts_at_the_second_look_and_is_released_at_the_third,
    without_a_limit_a_level_acts_nowhere,
    a_switch_beside_the_level_acts_as_well_and_each_holds_the_trip_by_itself,
)

if __name__ == "__main__":
    keep(PROMISES)
