"""The host's end of the link against the winder's, over a cable that loses, flips, doubles and delays bytes."""

from __future__ import annotations

import pytest
from rig import job_list

from cable import Cable, client_on, wind_through
from reelwright.device.client import RefusedError
from reelwright.errors import DeviceError, LinkLostError, PortGoneError
from windlink import codes
from windlink.frame import seal


def test_hello_tells_who_answers() -> None:
    winder = client_on(Cable()).hello()
    assert (winder.board, winder.boot, winder.pace, winder.protocol) == ("simulated", 9, 1, "1.0")


@pytest.mark.parametrize(
    ("share", "burst_bytes", "seed"),
    [(0.0, 50.0, 1), (0.2, 50.0, 2), (0.2, 50.0, 3), (0.2, 50.0, 4), (0.03, 1 / 0.97, 5)],
)
def test_a_job_over_a_bad_cable_ends_on_its_exact_pulse_with_every_event_once(
    share: float, burst_bytes: float, seed: int
) -> None:
    cable = Cable(share, seed, burst_bytes)
    client = client_on(cable)
    client.hello()
    events = wind_through(cable, client, job_list())
    assert [event.sequence for event in events] == list(range(1, len(events) + 1))
    verbs = [event.verb for event in events]
    assert verbs.count("stopped") == 2
    assert verbs.count("layer_done") == 2
    assert verbs.count("began") == 3
    assert verbs[-1] == "ended"
    assert events[-1].fields["pulses"] == cable.rig.session.count
    assert 1500 <= cable.rig.session.count <= 1501
    assert (client.retries > 0) == (share > 0)


def test_a_winder_that_is_still_heard_is_asked_for_a_minute_and_a_silent_one_for_ten_seconds() -> None:
    class StillTelling(Cable):
        """Something keeps the winder telling, though nothing reaches it."""

        def read(self, wait_s: float = 0.02) -> bytes:
            self.service._heard_now(self.rig.now_ms)
            return super().read(wait_s)

    for mute, limits_s in ((False, (60, 61)), (True, (10, 11))):
        cable = StillTelling()
        client = client_on(cable)
        client.hello()
        cable.deaf = True
        cable.mute = mute
        begun_s = cable.clock()
        with pytest.raises(LinkLostError, match="does not answer `status`"):
            client.request("status")
        assert limits_s[0] <= cable.clock() - begun_s < limits_s[1]


def test_parts_of_a_job_grow_short_on_a_cable_that_hits_long_lines() -> None:
    cable = Cable(0.04, 5, 1 / 0.96)
    client = client_on(cable)
    client.hello()
    client.load(7, job_list())
    parts = [line.split() for line in dict.fromkeys(line.strip() for line in cable.log) if b" part " in line]
    assert len(parts[0]) > len(parts[-1])
    assert cable.rig.session.job.job_id == 7


def test_a_retry_sends_the_same_line_again() -> None:
    cable = Cable()
    client = client_on(cable)
    client.hello()
    cable.log.clear()
    cable.deaf = True
    with pytest.raises(LinkLostError):
        client.request("status")
    assert len(cable.log) > 2
    assert {line.strip() for line in cable.log} == {cable.log[0].strip()}
    assert all(line.startswith(b"\n") for line in cable.log[1:]), "an end for a line that may have lost its own"


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


def test_a_port_that_is_no_winder_is_told_with_what_it_said() -> None:
    class Prompt(Cable):
        def read(self, wait_s: float = 0.02) -> bytes:
            super().read(wait_s)
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


@pytest.mark.parametrize("name", ["cable", "socket://127.0.0.1:9"])
def test_a_port_that_goes_away_after_it_was_greeted_is_neither_busy_nor_something_else(name: str) -> None:
    """A person may take an hour to agree to a count, and the winder is greeted once more then."""

    class Unplugged(Cable):
        def write(self, data: bytes) -> None:
            if self.unplugged:
                raise PortGoneError("The port went away.", "Check the cable.")
            super().write(data)

    cable = Unplugged()
    cable.name = name
    client = client_on(cable)
    client.hello()
    cable.unplugged = True
    with pytest.raises(PortGoneError, match="went away"):
        client.hello()


class Answers(Cable):
    """A winder whose answers are told beforehand, without their sequence number."""

    def __init__(self, *answers: str) -> None:
        super().__init__()
        self._answers = list(answers)

    def read(self, wait_s: float = 0.02) -> bytes:
        super().read(wait_s)
        sequence = int(self.log[-1].split()[0][1:])
        return seal(f"<{sequence} {self._answers.pop(0)}") if self._answers else b""


def test_an_answer_of_another_verb_is_no_answer() -> None:
    client = client_on(Answers("done 2", "events 4 1", "status 2 7 100 1 0 0"))
    assert client.request("status")["pulses"] == 100


def test_a_refusal_with_a_detail_that_names_nothing_is_told_all_the_same() -> None:
    with pytest.raises(RefusedError, match=r"\(value -9999\)"):
        client_on(Answers("refused 7 -9999 0 0")).request("accept", 1, "00000000")


def test_a_line_that_lost_its_end_spoils_no_more_than_itself() -> None:
    class LosesTheFirstLineEnd(Cable):
        def write(self, data: bytes) -> None:
            super().write(data.rstrip(b"\n") if not self.log else data)

    cable = LosesTheFirstLineEnd()
    client = client_on(cable)
    assert client.request("status")["state"] == codes.EMPTY
    assert client.retries == 1
