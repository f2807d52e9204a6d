"""A winder in this process at the end of a cable that may be bad, on a clock of its own: minutes pass in no time."""

from __future__ import annotations

from rig import LOOP_MS, Rig

from boards.noise import BURST_BYTES, Noise
from plant.chance import Chance
from reelwright.device.client import Client, Received
from reelwright.errors import LinkLostError
from windcore.service import Identity, LinkService
from windlink import codes
from windlink.job import job_crc

JOB_ID = 77
MOST_S = 3600.0


class Cable:
    """Stands in for the port of a client, whose `clock` is `self.clock`. Firmware and motor are those of `rig`.

    share: of the bytes that are hit, each way; burst_bytes: mean length of a bad stretch.
    """

    name = "cable"
    serial_number = ""

    def __init__(self, share: float = 0.0, seed: int = 1, burst_bytes: float = BURST_BYTES) -> None:
        self.rig = Rig()
        self.rig.step()
        self.service = LinkService(self.rig.session, Identity("simulated", 511, 9, codes.POWER_ON, 1))
        self.to_winder = Noise(Chance(seed), share, burst_bytes)
        self.from_winder = Noise(Chance(seed + 1), share, burst_bytes)
        self._now_ms = 0
        self.log: list[bytes] = []
        self.deaf = False  # nothing reaches the winder
        self.mute = False  # nothing reaches the host
        self.unplugged = False

    def clock(self) -> float:
        """Seconds since the start."""
        return self._now_ms / 1000

    def write(self, data: bytes) -> None:
        """Take what the host says."""
        self._require_plug()
        self.log.append(data)
        if not self.deaf:
            self.to_winder.take(data, self._now_ms)

    def read(self, wait_s: float = 0.02) -> bytes:
        """Let time go by until something arrives, for at most wait_s."""
        until_ms = self._now_ms + max(LOOP_MS, round(wait_s * 1000))
        while self._now_ms < until_ms:
            self._require_plug()
            self._period()
            arrived = self.from_winder.give(self._now_ms, 4096)
            if arrived:
                return arrived
        return b""

    def _period(self) -> None:
        self._now_ms += LOOP_MS
        rig = self.rig
        rig.step()
        arrived = self.to_winder.give(self._now_ms, 128)
        self.service.feed(arrived, len(arrived), rig.now_ms)
        while line := self.service.outgoing(rig.now_ms):
            self.service.sent(line, rig.now_ms, True)
            if not self.mute:
                self.from_winder.take(line, self._now_ms)

    def _require_plug(self) -> None:
        if self.unplugged:
            raise LinkLostError("The port went away.")


def client_on(cable: Cable) -> Client:
    """A client whose port is the cable."""
    return Client(cable, clock=cable.clock)


def wind_through(cable: Cable, client: Client, values: list[int]) -> list[Received]:
    """Load and wind a job, going on at each stop; every event, each once, in the order of arrival.

    Raises AssertionError when it does not end within an hour.
    """
    client.load(JOB_ID, values)
    assert cable.rig.session.job.crc == job_crc(values)
    client.request("start", JOB_ID)
    events: dict[int, Received] = {}
    while cable.clock() < MOST_S:
        client.listen()
        while client.inbox:
            received = client.inbox.popleft()
            if received.kind == "+":
                events.setdefault(received.sequence, received)
                client.request("ack", received.sequence)
        if not client.keep_alive_due:
            continue
        status = client.request("status")
        if status["state"] == codes.WAITING:
            client.request("go_on", JOB_ID, status["wait"])
        told = cable.rig.session.events
        if status["state"] == codes.FINISHED and told.acknowledged == told.newest:
            return list(events.values())
    raise AssertionError("not over within an hour")
