"""How a board keeps its pins: their pulls, and what their counters can tell. For both interpreters. Argument: port."""

import json
import sys

from promises import keep

from fakes import bench
from fakes.world import WORLD
from windlink.job import HIGHEST_RATE

PORT = sys.argv[1]
PULLS = {"up": 1, "down": 0, "none": 0}


def opened(channels, **changes):
    """The board of a machine whose description has these changes; its pins."""
    pins = bench.describe(PORT, channels)
    with open("machine.json") as file:
        found = json.load(file)
    found.update(changes)
    with open("machine.json", "w") as file:
        file.write(json.dumps(found))
    WORLD.begin(PORT)
    return bench.opened(), pins


def a_sensor_is_pulled_as_described_whatever_its_counter_does_to_the_pin():
    for channels in (1, 2):
        roles = ("sensor_a", "sensor_b")[:channels]
        for word in PULLS:
            _, pins = opened(channels, pulls=dict.fromkeys(roles, word))
            for role in roles:
                assert WORLD.pin(pins[role]).pull == PULLS[word], (role, word)


def a_single_channel_counts_no_faster_than_its_window_lets_through():
    board, _ = opened(1, debounce_us=500)
    if PORT == "rp2":
        # 500 us of window and 4 us of looks, twice in a pulse
        assert board.identity.counts_up_to == 100 * 1000000 // (2 * 504)
    else:
        assert board.identity.counts_up_to >= HIGHEST_RATE
    board, _ = opened(2, debounce_us=500)
    assert board.identity.counts_up_to >= HIGHEST_RATE


PROMISES = (
    a_sensor_is_pulled_as_described_whatever_its_counter_does_to_the_pin,
    a_single_channel_counts_no_faster_than_its_window_lets_through,
)

if __name__ == "__main__":
    keep(PROMISES)
