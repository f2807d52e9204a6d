"""The host's end of the link against the winder's, over a cable that loses, flips and doubles bytes."""

from __future__ import annotations

import random
import time
from typing import Any

import pytest
from rig import LOOP_MS, Rig, job_list

from reelwright.device.client import Client, RefusedError
from reelwright.errors import DeviceError, LinkLostError
from windcore.service import Identity, LinkService
from windlink import codes
from windlink.frame import seal


class Cable:
    """Stands in for the port: a winder in this process, whose clock runs 200 times as fast as ours.

    fault: the share of bytes that are lost, flipped or doubled, each way.
    """

    name = "cable"

    def __init__(self, fault: float = 0.0, seed: int = 1) -> None:
        self.rig = Rig()
        self.rig.step()
        self.service = LinkService(self.rig.session, Identity("simulated", 511, 9, codes.POWER_ON, 200))
        self._fault = fault
        self._random = random.Random(seed)
        self._begun_s = time.monotonic()
        self._stepped = 0
        self.log: list[bytes] = []
        self.unplugged = False

    def write(self, data: bytes) -> None:
        if self.unplugged:
            raise LinkLostError("The port went away.")
        self.log.append(data)
        worn = self._worn(data)
        self.service.feed(worn, len(worn), self.rig.now_ms)

    def read(self, wait_s: float = 0.02) -> bytes:
        if self.unplugged:
            raise LinkLostError("The port went away.")
        out = b""
        for _ in range(20):
            self.rig.step()
            while line := self.service.outgoing(self.rig.now_ms):
                self.service.sent(line, self.rig.now_ms, True)
                out += self._worn(line)
        assert wait_s > 0
        assert LOOP_MS == 10
        return out

    def _worn(self, data: bytes) -> bytes:
        out = bytearray()
        for byte in data:
            chance = self._random.random()
            if chance < self._fault / 3:
                continue
            if chance < 2 * self._fault / 3:
                byte ^= 1 << self._random.randrange(8)
            out.append(byte)
            if 2 * self._fault / 3 <= chance < self._fault:
                out.append(byte)
        return bytes(out)


def client_on(cable: Cable) -> Client:
    return Client(cable)  # type: ignore[arg-type]  # the cable stands in for the port


def wind_through(cable: Cable, client: Client) -> dict[int, tuple[str, dict[str, Any]]]:
    """Load, start, go on at each stop, acknowledge; all events by their number."""
    client.load(77, job_list())
    client.request("start", 77)
    events: dict[int, tuple[str, dict[str, Any]]] = {}
    while True:
        client.listen()
        while client.inbox:
            received = client.inbox.popleft()
            if received.kind == "+":
                events.setdefault(received.sequence, (received.verb, received.fields))
                client.request("ack", received.sequence)
        status = client.request("status")
        if status["state"] == codes.WAITING:
            client.request("go_on", 77, status["wait"])
        told = cable.rig.session.events
        if status["state"] == codes.FINISHED and told.acknowledged == told.newest:
            return events


def test_hello_tells_who_answers() -> None:
    winder = client_on(Cable()).hello()
    assert (winder.board, winder.boot, winder.pace, winder.protocol) == ("simulated", 9, 200, "1.0")


@pytest.mark.parametrize(("fault", "seed"), [(0.0, 1), (0.002, 2), (0.01, 3)])
def test_a_job_over_a_bad_cable_ends_on_its_exact_pulse_with_every_event_once(fault: float, seed: int) -> None:
    cable = Cable(fault, seed)
    client = client_on(cable)
    client.hello()
    events = wind_through(cable, client)
    assert sorted(events) == list(range(1, len(events) + 1))
    verbs = [events[number][0] for number in sorted(events)]
    assert verbs.count("stopped") == 2
    assert verbs.count("layer_done") == 2
    assert verbs.count("began") == 3
    assert verbs[-1] == "ended"
    assert events[len(events)][1]["pulses"] == cable.rig.session.count
    assert 1500 <= cable.rig.session.count <= 1501
    if fault:
        assert client.retries > 0


def test_a_retry_sends_the_same_line_again(monkeypatch: pytest.MonkeyPatch) -> None:
    cable = Cable()
    client = client_on(cable)
    client.hello()
    cable.log.clear()
    cable._fault = 1.0
    monkeypatch.setattr("reelwright.device.client.GIVE_UP_S", 0.5)
    with pytest.raises(LinkLostError):
        client.request("status")
    assert len(cable.log) > 2
    assert len(set(cable.log)) == 1


def test_a_refusal_names_reason_state_and_what_would_be_taken() -> None:
    client = client_on(Cable())
    client.hello()
    with pytest.raises(RefusedError) as caught:
        client.request("start", 5)
    assert caught.value.code == codes.WRONG_JOB
    assert "It is empty, and takes now: accept" in caught.value.remedy


def test_a_winder_of_another_major_is_refused_with_both_versions() -> None:
    class Other(Cable):
        def read(self, _: float = 0.02) -> bytes:
            sequence = int(self.log[-1].split()[0][1:])
            return seal(f"<{sequence} hello 2 7 whatever comes then")

    with pytest.raises(DeviceError, match=r"version 2\.7 of the link, this program 1\.0"):
        client_on(Other()).hello()


def test_a_port_that_is_no_winder_is_told_with_what_it_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("reelwright.device.client.GIVE_UP_HELLO_S", 0.2)

    class Prompt(Cable):
        def read(self, _: float = 0.02) -> bytes:
            return b"\x1b[2Jlogin: \r\n"

    with pytest.raises(DeviceError, match=r"does not answer as a winder.*login:") as caught:
        client_on(Prompt()).hello()
    assert "\x1b" not in str(caught.value)


def test_a_port_without_line_ends_fills_no_memory() -> None:
    class Babble(Cable):
        def read(self, _: float = 0.02) -> bytes:
            return b"x" * 4096

    client = client_on(Babble())
    for _ in range(50):
        client.listen()
    assert len(client._pending) <= 4096


def test_a_port_that_goes_away_is_one_error() -> None:
    cable = Cable()
    client = client_on(cable)
    client.hello()
    cable.unplugged = True
    with pytest.raises(LinkLostError):
        client.request("status")
