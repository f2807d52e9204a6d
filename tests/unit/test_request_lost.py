"""What the operator asks for while the link drops is asked again, and is no second press."""

from __future__ import annotations

from collections import deque
from types import SimpleNamespace
from typing import Any
from unittest.mock import MagicMock

import pytest

from reelwright.errors import LinkLostError
from reelwright.operation.wind import Interrupts, Wind
from windlink import codes


class AllSeenError(Exception):
    """The spool is at rest, or has turned for long enough."""


class Cable:
    """A winder whose link drops once, at a verb, after the press at the third look."""

    port_name = "/dev/x"
    keep_alive_due = False

    def __init__(self, lost: str) -> None:
        self.inbox: deque[Any] = deque()
        self.sent: list[str] = []
        self.pressed = False
        self._lost = lost
        self._looks = 0
        self._state = codes.WINDING
        self.interrupts = Interrupts()
        self.press: Any = None

    def listen(self) -> None:
        self._looks += 1
        if self._looks == 3:
            self.pressed = True
            self.press()
        if self._looks > 15:
            raise AllSeenError

    def virtual(self, seconds: float) -> float:
        return seconds

    def reconnect(self) -> SimpleNamespace:
        return SimpleNamespace(boot=7)

    def request(self, verb: str, *_: int) -> dict[str, int]:
        self.sent.append(verb)
        if self.pressed and verb == self._lost:
            self._lost = ""
            raise LinkLostError("The cable is out.", "Plug it in.")
        if verb in ("pause", "abandon"):
            self._state = codes.EASING
        return {"job_id": 1, "state": self._state, "pulses": 5, "wait": 0, "reason": 0, "layer": 1}


def follow(cable: Cable, typed: list[str]) -> None:
    ledger = MagicMock()
    ledger.events.return_value = []
    ledger.find.return_value = None
    keys = MagicMock()
    keys.poll.side_effect = lambda: typed.pop() if typed else None
    wind = Wind(SimpleNamespace(target_pulses=100, job=None), 1, 7, cable, ledger, MagicMock())
    wind._state = codes.WINDING
    with pytest.raises(AllSeenError):
        wind.follow(keys, cable.interrupts, go_on_at_stops=False, stay_on_trip=False, link_wait_s=5)


@pytest.mark.parametrize("lost", ["status", "pause"])
def test_a_ctrl_c_that_a_lost_link_swallows_still_brings_the_spool_to_rest(lost: str) -> None:
    cable = Cable(lost)
    cable.press = lambda: setattr(cable.interrupts, "count", 1)
    follow(cable, [])
    assert cable.sent.count("pause") == (2 if lost == "pause" else 1)
    assert "abandon" not in cable.sent


def test_a_key_that_a_lost_link_swallows_is_asked_again() -> None:
    cable, typed = Cable("pause"), []
    cable.press = lambda: typed.append("pause")
    follow(cable, typed)
    assert cable.sent.count("pause") == 2
