"""A second by the board's own clock, with its interpreter busy. Runs on the board; the host times its words."""

import time

SECOND_US = 1000000

begun = time.ticks_us()
print("begun")
while time.ticks_diff(time.ticks_us(), begun) < SECOND_US:
    pass
print("ended")
