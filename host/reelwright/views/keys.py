"""What the operator may ask for while a wind runs: single keys on a terminal, a word a line from a pipe.

`Keys.poll` never blocks, so that one loop can serve the winder and the person. Ctrl-C keeps raising
KeyboardInterrupt. The terminal is given back as it was found.
"""

from __future__ import annotations

import math
import re
import sys
import time
from collections import deque
from typing import TYPE_CHECKING, Protocol, TextIO

from attrs import frozen

from reelwright.views.untrusted import plain_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType
    from typing import Self


@frozen
class Key:
    """One thing the operator may ask for. action: what `poll` returns. word: what a pipe sends, and the hint shows."""

    key: str
    action: str
    word: str
    help: str


KEYS = (
    Key("p", "pause", "pause", "ease to rest; the job stays in the winder and can go on"),
    Key("g", "go_on", "go on", "go on after a stop"),
    Key("a", "abandon", "abandon", "and y: ease to rest and end the job short of its target"),
    Key("c", "clear", "clear", "clear a trip once its cause is mended; moves nothing"),
)

# What a person is shown to press: the sign, and a word or two.
REST_AND_LEAVE = (*((key.key, key.word) for key in KEYS), ("Ctrl-C", "rest and leave"))
ONLY_END_WAIT = (("Ctrl-C", "end the waiting"),)
ONLY_LEAVE = (("Ctrl-C", "leave, and touch nothing"),)

_BY_KEY = {key.key: key.action for key in KEYS}
_BY_WORD = {key.word: key.action for key in KEYS}
YES = "y"  # abandons after its question; another key, since a held one repeats itself
SURE_S = 3.0  # for which the question stands; own choice
_HAND_S = 0.05  # no hand presses two different keys faster: what comes so is pasted; own choice
# Cursor and function keys as terminals send them (ECMA-48 control sequences, and the shorter form of ESC O).
_KEY_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[@-~])")
_BEGUN_SEQUENCE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*|O)?$")

SURE = f"{YES}, within {SURE_S:g} s, abandons the job. Nothing is done before."


def key_of(action: str) -> str:
    """A key and its word, for a sentence."""
    return next(f"{key.key} ({key.word})" for key in KEYS if key.action == action)


def keys_help() -> str:
    """The keys for a help text, one a line."""
    return "\n".join(f"{key.key}  {key.word:<8} {key.help}" for key in KEYS)


def action_of_line(line: str) -> str | None:
    """What a line from a pipe asks for: a word, however it is spaced or cased, or the key alone. None if nothing."""
    word = " ".join(line.replace("_", " ").replace("-", " ").split()).lower()
    return _BY_WORD.get(word) or _BY_KEY.get(word)


class KeyReader:
    """Turns the characters that a terminal sends into actions.

    Cursor and function keys arrive as sequences that hold letters; those are no keys of ours. A held key
    counts once a read. Of a pasted text, different characters that come faster than a hand is, only a pause
    counts: rest is always safe. What cannot be taken back is asked about first. A word from a pipe is no slip of a
    hand, and counts at once.

    tell: shows a sentence to the operator. clock: seconds of real time.
    """

    def __init__(self, tell: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self._tell = tell
        self._clock = clock
        self._begun = ""  # a sequence whose rest has not come yet
        self._last = ""  # character, and when it came
        self._last_s = -math.inf
        self._asked_s = -math.inf  # when it was asked whether to abandon

    def actions(self, burst: str) -> list[str]:
        """What one read from the terminal asks for: an action, or nothing."""
        typed = _KEY_SEQUENCE.sub("", self._begun + burst)
        unfinished = _BEGUN_SEQUENCE.search(typed)
        self._begun = unfinished.group() if unfinished else ""
        typed = typed.removesuffix(self._begun).replace("\x1b", "").lower()
        if self._is_pasted(typed):
            return ["pause"] if any(_BY_KEY.get(sign) == "pause" for sign in typed) else []
        sign = typed[:1]  # what is not pasted is one key, however often it came
        if not sign:
            return []
        action = _BY_KEY.get(sign)
        asked_s, self._asked_s = self._asked_s, -math.inf  # any other key is no yes
        if action == "abandon":
            self._asked_s = self._clock()
            self._tell(SURE)
        elif action is not None:
            return [action]
        elif sign == YES and self._clock() - asked_s <= SURE_S:
            return ["abandon"]
        return []

    def _is_pasted(self, typed: str) -> bool:
        if not typed:
            return False
        now_s = self._clock()
        goes_on = now_s - self._last_s < _HAND_S
        signs = {*typed, self._last} if goes_on else {*typed}
        self._last, self._last_s = typed[-1], now_s
        return len(signs) > 1


class Source(Protocol):
    """Where keys come from. ended: nothing more can come."""

    ended: bool

    def open(self) -> None:
        """Takes the terminal, if it is one."""

    def close(self) -> None:
        """Gives it back."""

    def read(self) -> list[str]:
        """The actions asked for since the last call; never blocks."""


class Keys:
    """The operator's requests, as a context manager.

    stream: standard input by default. tell: receives a sentence about each line that asks for nothing known, and about
    each key that asks first.
    """

    def __init__(self, stream: TextIO | None = None, tell: Callable[[str], None] | None = None) -> None:
        self._source = _source_of(sys.stdin if stream is None else stream, tell or _ignore)
        self._asked: deque[str] = deque()

    def __enter__(self) -> Self:
        self._source.open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._source.close()

    def poll(self) -> str | None:
        """The next request, one a call: "pause", "go_on", "abandon", "clear", or None. Never blocks."""
        if not self._asked:
            self._asked.extend(self._source.read())
        return self._asked.popleft() if self._asked else None

    @property
    def at_end(self) -> bool:
        """True when the input is closed and every request was handed out: nobody can answer any more."""
        if not self._asked:
            self._asked.extend(self._source.read())
        return self._source.ended and not self._asked


def unknown_line(line: str) -> str:
    """The sentence about a line that asks for nothing known."""
    known = ", ".join(key.word for key in KEYS)
    return f"{plain_text(line)[:40]!r} asks for nothing known; send one of: {known}."


def _ignore(sentence: str) -> None:
    del sentence


def _source_of(stream: TextIO | None, tell: Callable[[str], None]) -> Source:
    from reelwright.views import key_sources

    try:
        descriptor = stream.fileno() if stream is not None else None
        is_terminal = stream.isatty() if stream is not None else False
    except (OSError, ValueError):  # closed, or no file of the system
        descriptor = None
    if descriptor is None:
        return key_sources.NoInput()
    if not is_terminal:
        return key_sources.PipedLines(descriptor, tell)
    if sys.platform == "win32":
        return key_sources.WindowsConsole(tell)
    return key_sources.Terminal(descriptor, tell)
