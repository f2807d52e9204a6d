"""A line that a cable has held back tells of the time before: it hides nothing that is still to come."""

from __future__ import annotations

from collections import deque
from types import SimpleNamespace
from unittest.mock import MagicMock

import pytest

from reelwright.device.client import Received
from reelwright.operation.wind import EXIT_DONE, Interrupts, Wind
from winding_jobs import plan_of
from windlink import codes
from windlink.frame import EVENT, PROGRESS

PLAN = plan_of()
AT_END = {"layer": 3, "pulses": PLAN.target_pulses}
LATE = Received(PROGRESS, "at", 0, {"state": codes.EASING, "rate": 900, **AT_END})
ENDED = Received(EVENT, "ended", 1, {"outcome": codes.REACHED, "pulses": PLAN.target_pulses})


class FinishedWinder:
    """A winder whose job is over, and whose lines arrive one a look, in this order."""

    port_name = "/dev/x"

    def __init__(self, arriving: list[Received | None]) -> None:
        self.inbox: deque[Received] = deque()
        self._arriving = deque(arriving)
        self._acknowledged = 0
        self.keep_alive_due = False

    def listen(self) -> None:
        received = self._arriving.popleft() if self._arriving else None
        self.keep_alive_due = received is None
        if received is not None:
            self.inbox.append(received)

    def request(self, verb: str, *values: int) -> dict[str, int]:
        if verb == "ack":
            self._acknowledged = values[0]
        if verb == "events":
            return {"newest": 1, "acknowledged": self._acknowledged}
        return {"job_id": 1, "state": codes.FINISHED, "wait": 0, "reason": 0, **AT_END}


@pytest.mark.parametrize("arriving", [[None, LATE, None, ENDED], [LATE, LATE, ENDED], [None, ENDED, LATE]])
def test_a_wind_is_over_once_its_end_is_recorded_whatever_arrives_late(arriving: list[Received | None]) -> None:
    ledger = MagicMock()
    ledger.events.return_value = []
    ledger.find.return_value = None
    keys = SimpleNamespace(at_end=False, poll=lambda: None)
    wind = Wind(PLAN, 1, 7, FinishedWinder(arriving), ledger, MagicMock())
    ending = wind.follow(keys, Interrupts(), go_on_at_stops=True, stay_on_trip=False, link_wait_s=5)
    assert ending.exit_code == EXIT_DONE
    told = [name for name, _, _ in ledger.method_calls if name in ("record_event", "close_wind")]
    assert told == ["record_event", "close_wind"]
