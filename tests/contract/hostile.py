"""Hostile bytes for either end of the link, from a seed; and which frames among them were truly sent.

Runs on every interpreter. `Hostile.next` makes one sequence: noise, frames whole, frames spoilt, bodies that make no
sense under a checksum that is right, lines without an end, seeds of the corpus. A frame is false when an end accepts
it though it stands nowhere in what was sent, as `was_sent` knows.
"""

import json

from plant.chance import Chance
from windlink.catalogue import MESSAGES
from windlink.codec import encode
from windlink.fields import Field
from windlink.frame import FrameError, seal

_STRANGE = (0, 3, 4, 9, 10, 13, 27, 32, 43, 45, 48, 60, 61, 62, 127, 128, 155, 255)
_REMEMBERED = 400  # frames made lately, which come whole or spoilt: what is taken must be one of them


def read_corpus(path):
    """The seeds, as bytes; a character stands for the byte of its number."""
    with open(path) as file:
        return [bytes([ord(sign) for sign in seed["text"]]) for seed in json.load(file)]


class Hostile:
    """Sequences for an end that takes messages of these kinds, such as '>' for the winder's."""

    def __init__(self, seed, kinds, corpus):
        self._chance = Chance(seed)
        self._messages = [message for message in MESSAGES if message.kind in kinds]
        self._others = [message for message in MESSAGES if message.kind not in kinds]
        self._corpus = corpus
        self._sent = []
        self.made = [0] * len(_MAKERS)

    def next(self):
        """One sequence, 0 to some hundreds of bytes."""
        which = self._chance.below(len(_MAKERS))
        self.made[which] += 1
        return _MAKERS[which](self)

    def was_sent(self, line):
        """Whether this line, without its end, is one of the frames or seeds that were made of late."""
        return line in self._sent or any(line in seed.split(b"\n") for seed in self._corpus)

    def answer(self, sequence):
        """An answer of any verb to the request of this number, as a winder would never give it."""
        answers = [message for message in self._messages if message.kind == "<"]
        words = self._frame(answers)[:-10].decode().split(" ")
        return self._remember(seal(" ".join(["<%d" % sequence] + words[1:])))

    def begun(self, words):
        """Whether a frame that begins with these words was made of late."""
        return any(line.startswith(words) for line in self._sent + self._corpus)

    def spoilt(self, data):
        """The bytes with one to four faults."""
        data = bytearray(data)
        for _ in range(1 + self._chance.below(4)):
            if data:
                _FAULTS[self._chance.below(len(_FAULTS))](self, data)
        return bytes(data)

    # --- what a sequence may be --------------------------------------------------------------------------

    def _noise(self):
        return bytes([self._byte() for _ in range(self._chance.below(160))])

    def _whole(self):
        return self._frame(self._messages)

    def _stranger(self):
        return self._frame(self._others)

    def _spoilt_frame(self):
        return self.spoilt(self._frame(self._messages))

    def _joined(self):
        """Two frames cut and put together: the start of one, the end of another."""
        one, other = self._frame(self._messages), self._frame(self._messages)
        return one[: self._chance.below(len(one))] + other[self._chance.below(len(other)) :]

    def _nonsense(self):
        """A body that was spoilt before it was sealed: its checksum is right, so it was sent."""
        body = self._frame(self._messages)[:-10]
        words = body.decode().split(" ")
        at = self._chance.below(len(words))
        words[at] = ("", "-0", "007", "1e9", "99999999999999999999", "+1", "\x7f", words[at] + " ", "NaN", ">0")[
            self._chance.below(10)
        ]
        return self._remember(seal(" ".join(words)))

    def _endless(self):
        return bytes([120]) * self._chance.below(400) + self.spoilt(self._frame(self._messages))

    def _seed(self):
        seed = self._corpus[self._chance.below(len(self._corpus))]
        return seed if self._chance.below(2) else self.spoilt(seed)

    # --- within ------------------------------------------------------------------------------------------

    def _frame(self, messages):
        message = messages[self._chance.below(len(messages))]
        count = len(message.fields) + self._chance.below(message.more + 1)
        last = len(message.fields) - 1
        values = tuple([self._value(message.fields[min(at, last)]) for at in range(count)])
        try:
            line = encode(message.kind, self._chance.below(message.highest_sequence + 1), message.verb, values)
        except FrameError:
            return self._frame(messages)  # longer than its room
        return self._remember(line)

    def _value(self, field):
        if not isinstance(field, Field):
            return field.extreme()
        choice = self._chance.below(4)
        if choice < 2:
            return field.low if choice else field.high
        return min(field.high, max(field.low, self._chance.below(100)))

    def _remember(self, line):
        self._sent.append(line.strip())
        if len(self._sent) > _REMEMBERED:
            self._sent.pop(0)
        return line

    def _byte(self):
        return _STRANGE[self._chance.below(len(_STRANGE))] if self._chance.below(4) == 0 else self._chance.below(256)

    # --- faults ------------------------------------------------------------------------------------------

    def _flip(self, data):
        data[self._chance.below(len(data))] ^= 1 << self._chance.below(8)

    def _drop(self, data):
        at = self._chance.below(len(data))
        data[:] = data[:at] + data[at + 1 :]

    def _double(self, data):
        at = self._chance.below(len(data))
        data[:] = data[: at + 1] + data[at:]

    def _insert(self, data):
        at = self._chance.below(len(data))
        data[:] = data[:at] + bytes([self._byte()]) + data[at:]

    def _cut(self, data):
        data[:] = data[: self._chance.below(len(data))]

    def _swap(self, data):
        one, other = self._chance.below(len(data)), self._chance.below(len(data))
        data[one], data[other] = data[other], data[one]


_MAKERS = (
    Hostile._noise,
    Hostile._whole,
    Hostile._stranger,
    Hostile._spoilt_frame,
    Hostile._spoilt_frame,
    Hostile._joined,
    Hostile._nonsense,
    Hostile._endless,
    Hostile._seed,
)
_FAULTS = (Hostile._flip, Hostile._drop, Hostile._double, Hostile._insert, Hostile._cut, Hostile._swap)
