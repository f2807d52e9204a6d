"""Hostile bytes in both directions: nothing escapes, nothing false is taken, nothing grows.

The suite feeds each end a sample. `REELWRIGHT_FUZZ=1000000 pytest -s tests/contract/test_fuzz.py` feeds a million to
each on CPython, and as many to the winder's on MicroPython; REELWRIGHT_SEED repeats a run.
"""

from __future__ import annotations

import gc
import os
import random
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hostile import Hostile, read_corpus

from interpreters import CPYTHON, MICROPYTHON, MICROPYTHON_32, needs_micropython, needs_micropython_32, run_script
from reelwright.device.client import Client, Received
from reelwright.errors import DeviceError
from reelwright.operation.telling import happening_of, snapshot_of
from reelwright.views.untrusted import plain_text
from reelwright.winding.plan import make_plan
from simulated.random_jobs import random_job
from windlink.codec import encode
from windlink.frame import EVENT

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).parent
CORPUS = HERE / "corpus.json"
SEQUENCES = int(os.environ.get("REELWRIGHT_FUZZ", "10000"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
TIMEOUT_S = 3600
SLACK_BLOCKS = 200  # of memory: what a collection leaves behind differs by some
ROUNDS = 10


@pytest.mark.parametrize(
    ("interpreter", "share"),
    [
        pytest.param(CPYTHON, 1, id="cpython"),
        pytest.param(MICROPYTHON, 1, id="micropython", marks=needs_micropython),
        pytest.param(MICROPYTHON_32, 10, id="micropython-32-bit", marks=needs_micropython_32),
    ],
)
def test_the_winder_takes_nothing_that_was_not_sent(interpreter: tuple[str, ...], share: int) -> None:
    count = SEQUENCES // share
    said = run_script(interpreter, HERE / "fuzz_winder.py", count, SEED, CORPUS, timeout_s=TIMEOUT_S)
    print(f"seed {SEED}: {said.strip()}")
    assert said.startswith(f"sequences {count} ")


@needs_micropython
def test_both_interpreters_take_the_same_of_it() -> None:
    said = [run_script(each, HERE / "fuzz_winder.py", 2000, 7, CORPUS) for each in (CPYTHON, MICROPYTHON)]
    assert said[0] == said[1]


class HostilePort:
    """Stands in for the port: gives hostile bytes, on a clock of its own, and now and then a wrong answer."""

    name = "hostile"
    serial_number = ""

    def __init__(self, hostile: Hostile) -> None:
        self._hostile = hostile
        self._now_s = 0.0
        self._asked = 0

    def clock(self) -> float:
        return self._now_s

    def write(self, data: bytes) -> None:
        self._asked = int(data.split()[0][1:])

    def read(self, wait_s: float = 0.02) -> bytes:
        self._now_s += wait_s
        data: bytes = self._hostile.next()
        return data + b"\n" + self._hostile.answer(self._asked) if len(data) % 4 == 0 else data


def host_of(kinds: str) -> tuple[Hostile, HostilePort, Client]:
    hostile = Hostile(SEED, kinds, read_corpus(CORPUS))
    port = HostilePort(hostile)
    return hostile, port, Client(port, clock=port.clock)


def true_frame(hostile: Hostile, received: Received) -> bool:
    """Whether a message that the host took was made so."""
    if not received.fields and received.kind == EVENT:  # of a newer version
        return bool(hostile.begun(f"+{received.sequence} {received.verb} ".encode()))
    values = tuple(received.fields.values())
    return bool(hostile.was_sent(encode(received.kind, received.sequence, received.verb, values)[:-1]))


def rounds() -> Iterator[range]:
    """The sequences in equal shares; memory may not grow from the second to the last."""
    used = []
    for _ in range(ROUNDS):
        yield range(SEQUENCES // ROUNDS)
        gc.collect()
        used.append(sys.getallocatedblocks())
    growth = max(used[1:]) - used[1]
    print(f"seed {SEED}: {SEQUENCES} sequences; memory grew by {growth} of {used[1]} blocks")
    assert growth < SLACK_BLOCKS, used


def test_a_host_that_listens_takes_nothing_that_was_not_sent_and_can_tell_all_of_it() -> None:
    hostile, _, client = host_of("<=+")
    plan = make_plan(random_job(random.Random(3), "dc", "single"))
    taken = other_versions = 0
    for share in rounds():
        for _ in share:
            try:
                client._take(hostile.next())
            except DeviceError:  # a greeting of another version
                other_versions += 1
            while client.inbox:
                received = client.inbox.popleft()
                taken += 1
                assert true_frame(hostile, received), received
                told = tell(plan, received)
                assert told == plain_text(told)
        hostile._sent = [b"?" * 60] * 400  # the fuzzer's own memory is not the host's
    assert all(stray.isprintable() for stray in client.strays)
    assert taken > SEQUENCES // 20
    print(f"{taken} messages taken, {other_versions} greetings of another version, {client.bad_lines} lines refused")


def tell(plan: Any, received: Received) -> str:
    """What a person would be told of it."""
    if received.kind == EVENT:
        happening = happening_of(plan, received)
        return f"{happening.sentence} {happening.remedy}".strip()
    fields = received.fields
    return snapshot_of(plan, fields["state"], fields["pulses"], fields["rate"]).state


def test_a_host_that_asks_gets_an_answer_of_its_kind_or_one_of_the_named_errors() -> None:
    _, _, client = host_of("<=+")
    asked = (("status",), ("events",), ("trip",), ("start", 5), ("ack", 7), ("accept", 5, "00000000"))
    outcomes: dict[str, int] = {}
    harmless: list[bool] = []
    draw = random.Random(SEED)
    for _ in range(SEQUENCES // 20):
        question = draw.choice(asked)
        try:
            if question == ("trip",):
                assert all(client.trip_sentence()[:2])
                outcome = "told"
            else:
                answer = client.request(question[0], *question[1:])
                assert set(answer) >= {"state"} or question[0] == "events"
                outcome = "answered"
        except DeviceError as failure:
            outcome = type(failure).__name__
            harmless.append(failure.message == plain_text(failure.message))
        outcomes[outcome] = outcomes.get(outcome, 0) + 1
        client.inbox.clear()
    print(f"seed {SEED}: {outcomes}")
    assert set(outcomes) <= {"answered", "told", "RefusedError", "LinkLostError", "OtherVersionError"}
    assert outcomes["answered"] > 10
    assert all(harmless), "no failure carries what would steer a terminal"
