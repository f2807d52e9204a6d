"""Turns a shaft that is not there: runs on the board, in place of main.py, around the firmware's own loop.

The loop drives the motor's pins, and with every pass the pins of the shaft go on as far as a motor would have turned
it. Whoever wires them to the sensor's pins has a winder that winds; the counting, the link and all decisions are the
firmware's.
"""

# Levels of channel A and B in the four quarters of a pulse, A ahead.
QUARTERS = ((0, 0), (1, 0), (1, 1), (0, 1))
PASS_MS = 10


class Shaft:
    """A board in the sense of `windcore.loop`, with a shaft that follows its drive.

    levels: called with the level of each channel. full_rate: pulses a second at full drive, at most 25, so that no
    quarter is shorter than a pass.
    """

    def __init__(self, board, levels, full_rate):
        self._board = board
        self._levels = levels
        self._full_rate = full_rate
        self._thousandths = 0  # of a quarter
        self.quarters = 0

    def __getattr__(self, name):
        return getattr(self._board, name)

    def feed(self):
        """Begin no watchdog: it would bite whoever looks at the pins after Ctrl-C."""

    def apply(self, outputs):
        """Drive as the board does, and let the shaft follow: a quarter in a pass at most."""
        self._board.apply(outputs)
        self._thousandths += 4 * self._full_rate * outputs.duty * PASS_MS // 1000
        if self._thousandths >= 1000:
            self._thousandths -= 1000
            self.quarters += 1
            self._levels(*QUARTERS[self.quarters % 4])
