"""What outlives a restart: the running count in the board's registers, and the last rest in its flash.

Registers live through a reset of the chip and not through a loss of power; they are written in every control
step. Flash lives through both, and writing it stops the interpreter for up to half a second, so the journal is
written at standstill only: before a motion and after it. After a restart the registers are believed where their
check agrees, else the journal.
"""

from array import array
from binascii import crc32

from windcore.ticks import LOOP_MS
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Protocol

    from windcore.session import Session

    class Words(Protocol):
        """Registers that outlive a reset: whole numbers of 30 bits each."""

        def __getitem__(self, index: int) -> int:
            """A word."""

        def __setitem__(self, index: int, value: int) -> None:
            """Set a word. Allocates nothing."""

    class Store(Protocol):
        """Two slots that outlive a loss of power."""

        def read(self, slot: int) -> bytes:
            """What slot 0 or 1 holds; b'' where there is nothing. Never raises."""

        def write(self, slot: int, data: bytes) -> None:
            """Put data in its place, whole or not at all. Raises OSError when the flash fails."""


WORDS = 5  # registers used, of 30 bits each: no integer of 2^30 or more is ever made
RECORD_BYTES = 80  # no slot is longer

_COUNT_ZERO = 1 << 24  # a count may be this far below zero, and 2^30 above that
_HIGHEST_WORD = (1 << 30) - 1
_FASTEST = 9999999  # hundredths of a pulse per second: the most that the link tells
_RATE_MASK = (1 << 24) - 1
_STATE_SHIFT = 24
_OUTCOME_SHIFT = 27
_FORMAT = 0x2A0000  # marks the fourth word as ours, above its checksum
_DARK_SHIFT = 22
_DARK_UNIT_MS = 32
_DARK_UNKNOWN = 255  # in those units, of which there are eight bits

UNDER_WAY = (codes.WINDING, codes.EASING, codes.WAITING, codes.TRIPPED)
_MOVING = (codes.WINDING, codes.EASING)

# CRC-16/IBM-3740 (polynomial 1021, start FFFF): every step of it is a small integer, where a CRC-32 is not.
_CRC_TABLE = array("H", [0] * 256)
for _index in range(256):
    _value = _index << 8
    for _ in range(8):
        _value = (_value << 1 ^ 0x1021 if _value & 0x8000 else _value << 1) & 0xFFFF
    _CRC_TABLE[_index] = _value


def crc16(crc: int, word: int) -> int:
    """The checksum with four more bytes, the highest first. Start with FFFF. Allocates nothing."""
    table = _CRC_TABLE
    crc = table[crc >> 8 ^ word >> 24] ^ (crc & 255) << 8
    crc = table[crc >> 8 ^ word >> 16 & 255] ^ (crc & 255) << 8
    crc = table[crc >> 8 ^ word >> 8 & 255] ^ (crc & 255) << 8
    return table[crc >> 8 ^ word & 255] ^ (crc & 255) << 8


class Past:
    """A job as it stood when it was last kept.

    state: of the winder then. rate: hundredths of a pulse per second, then. source: see Sources. dark_ms: the longest
    time since in which pulses went uncounted; 0 where nobody can tell. crc: of the job's values, "" where the
    source has no room for it.
    """

    def __init__(
        self, job_id: int, count: int, rate: int, state: int, outcome: int, source: int, dark_ms: int, crc: str
    ) -> None:
        self.job_id = job_id
        self.count = count
        self.rate = rate
        self.state = state
        self.outcome = outcome
        self.source = source
        self.dark_ms = dark_ms
        self.crc = crc

    @property
    def under_way(self) -> bool:
        """Whether the job had begun and was not over."""
        return self.state in UNDER_WAY


class Registers:
    """The running count in four words of the board: job, count, rate with state, and a check over the three.

    A fifth has the reason of a restart that is asked for: a chip cannot tell that from a bite of its watchdog.
    """

    def __init__(self, words: "Words") -> None:
        self._words = words
        self._dark = 0
        self._prefix = 0  # checksum of what stays the same through a job

    def read(self) -> "Past | None":
        """What they hold, or None where the check disagrees: after a loss of power they hold anything."""
        words = self._words
        self._dark = words[3] >> _DARK_SHIFT & _DARK_UNKNOWN
        self._prefix = crc16(crc16(0xFFFF, self._dark), words[0])
        if words[3] != self._check() or not words[0]:
            return None
        rate = words[2] & _RATE_MASK
        state = words[2] >> _STATE_SHIFT & 7
        outcome = words[2] >> _OUTCOME_SHIFT & 3
        if rate > _FASTEST or state > codes.TRIPPED or outcome > codes.ABANDONED:
            # by chance their check agrees, but no program wrote this
            return None
        return Past(words[0], words[1] - _COUNT_ZERO, rate, state, outcome, codes.FROM_REGISTERS, 0, "")

    def darken(self, past: Past, dark_ms: int) -> None:
        """Add this restart's uncounted time to a past from here; 0 where nobody can tell how long it was."""
        units = (dark_ms + _DARK_UNIT_MS - 1) // _DARK_UNIT_MS
        unknown = not dark_ms or self._dark + units >= _DARK_UNKNOWN
        self._begin(past.job_id, _DARK_UNKNOWN if unknown else self._dark + units)
        past.dark_ms = 0 if unknown else self._dark * _DARK_UNIT_MS
        self.keep_past(past)

    def announce(self, cause: int) -> None:
        """Leave word of why the program ends, one of the link's causes."""
        self._words[4] = cause << 16 | crc16(0xFFFF, cause)

    def announced(self) -> int:
        """The cause that was left word of, which is then forgotten; -1 for none."""
        word = self._words[4]
        self._words[4] = 0
        cause = word >> 16
        return cause if word and word & 0xFFFF == crc16(0xFFFF, cause) else -1

    def keep(self, job_id: int, count: int, rate: int, state: int, outcome: int) -> None:
        """Keep a job whose every pulse was counted. Allocates nothing."""
        if self._dark or job_id != self._words[0]:
            self._begin(job_id, 0)
        self._write(count, rate, state, outcome)

    def keep_past(self, past: Past) -> None:
        """Keep what was found here, with what was counted since. Allocates nothing."""
        self._write(past.count, past.rate, past.state, past.outcome)

    def _begin(self, job_id: int, dark: int) -> None:
        self._words[3] = 0
        self._words[0] = job_id
        self._dark = dark
        self._prefix = crc16(crc16(0xFFFF, dark), job_id)

    def _write(self, count: int, rate: int, state: int, outcome: int) -> None:
        words = self._words
        kept = count + _COUNT_ZERO
        moving = min(_FASTEST, abs(rate)) | state << _STATE_SHIFT | outcome << _OUTCOME_SHIFT
        if words[1] == kept and words[2] == moving and words[3]:
            return
        # while the words disagree with their check they hold nothing: a reset in between leaves no third state
        words[3] = 0
        if 0 <= kept <= _HIGHEST_WORD:
            words[1] = kept
            words[2] = moving
            words[3] = self._check()

    def _check(self) -> int:
        words = self._words
        return self._dark << _DARK_SHIFT | _FORMAT | crc16(crc16(self._prefix, words[1]), words[2])


class Journal:
    """The last rest, or the motion begun from it, in two slots that are written in turn.

    A slot is a line: format, number of the writing, job, its checksum, state, outcome, count, and a CRC-32. The one
    with the higher number holds; one that is empty or damaged is as if it were not there, and is written next.
    """

    def __init__(self, store: "Store") -> None:
        self._store = store
        self._newest = 0
        self._slot = 1  # that holds the newest
        self._kept = (0, 0, 0, 0)
        self.failures = 0

    def read(self) -> "Past | None":
        """The newest sound slot, or None."""
        found = None
        for slot in (0, 1):
            fields = _read_slot(self._store.read(slot))
            if fields is not None and fields[0] > self._newest:
                self._newest = fields[0]
                self._slot = slot
                found = fields
        if found is None:
            return None
        _, job_id, crc, state, outcome, count = found
        self._kept = (job_id, count, state, outcome)
        return Past(job_id, count, 0, state, outcome, codes.FROM_JOURNAL, 0, crc)

    def holds(self, job_id: int, count: int, state: int, outcome: int) -> bool:
        """Whether this is what was written last: flash wears, so nothing is written twice."""
        kept = self._kept
        return kept[1] == count and kept[0] == job_id and kept[2] == state and kept[3] == outcome

    def write(self, job_id: int, crc: str, count: int, state: int, outcome: int) -> None:
        """Keep this. Nothing may turn. A flash that fails is counted, and leaves what was kept before."""
        body = "1 %d %d %s %d %d %d" % (self._newest + 1, job_id, crc or "-", state, outcome, count)
        data = body.encode()
        self._kept = (job_id, count, state, outcome)  # after a failure too: it is not tried again and again
        try:
            self._store.write(1 - self._slot, b"%s %08X\n" % (data, crc32(data)))
        except OSError:
            self.failures += 1
            return
        self._newest += 1
        self._slot = 1 - self._slot


def _read_slot(data: bytes) -> "tuple[int, int, str, int, int, int] | None":
    """(number, job, its checksum, state, outcome, count) of a sound slot."""
    if not 10 < len(data) <= RECORD_BYTES or data[-10:] != b" %08X\n" % crc32(data[:-10]):
        return None
    words = data[:-10].decode().split(" ")
    if len(words) != 7 or words[0] != "1":
        return None
    crc = "" if words[3] == "-" else words[3]
    return int(words[1]), int(words[2]), crc, int(words[4]), int(words[5]), int(words[6])


class Memory:
    """Both together, for one run of the control loop.

    cause: what the board takes this start to be caused by. blind_ms: the longest time without counting that led to
    it, 0 where the board cannot tell. Read `past`, what was kept, or None; and `cause`, which the program that ended
    may have known better.
    """

    def __init__(self, words: "Words", store: "Store", blind_ms: int, cause: int = codes.POWER_ON) -> None:
        self._registers = Registers(words)
        announced = self._registers.announced()
        self.cause = cause if announced < 0 or cause in (codes.POWER_ON, codes.POWER_DIP) else announced
        if announced >= 0:
            # whoever ended the program may have taken any time over it
            blind_ms = 0
        self._journal = Journal(store)
        rested = self._journal.read()
        past = self._registers.read()
        if past is not None:
            self._registers.darken(past, blind_ms and blind_ms + LOOP_MS)
            if rested is not None and rested.job_id == past.job_id:
                past.crc = rested.crc
        else:
            past = rested
        self.past = past

    def keep_count(self, session: "Session") -> None:
        """After every control step. Allocates nothing."""
        past = session.past
        if session.begun:
            rate = session.rate
            if not rate and session.state == codes.TRIPPED and not session.standstill.certain:
                rate = 1  # it may still coast from pulse to pulse
            self._registers.keep(session.job.job_id, session.count, rate, session.state, session.outcome)
        elif past is not None and past.source == codes.FROM_REGISTERS:
            self._registers.keep_past(past)

    def due(self, session: "Session") -> bool:
        """Whether the spool stands and the journal has something to keep."""
        past = session.past
        if session.begun:
            if session.state in _MOVING:
                # about to turn: told before it does, so that a power cut on the way is known as one
                return session.poised and not self._journal.holds(
                    session.job.job_id, session.count, codes.WINDING, session.outcome
                )
            stands = session.standstill
            # a trip may be there because the sensor cannot be trusted
            return (stands.certain if session.state == codes.TRIPPED else stands.proven) and not self._journal.holds(
                session.job.job_id, session.count, session.state, session.outcome
            )
        return (
            past is not None
            and session.standstill.certain
            and not self._journal.holds(past.job_id, past.count, past.state, past.outcome)
        )

    def keep_rest(self, session: "Session") -> None:
        """Write the journal; only when `due`."""
        past = session.past
        if session.begun:
            state = codes.WINDING if session.state in _MOVING else session.state
            self._journal.write(session.job.job_id, session.job.crc, session.count, state, session.outcome)
        elif past is not None:
            self._journal.write(past.job_id, past.crc, past.count, past.state, past.outcome)
