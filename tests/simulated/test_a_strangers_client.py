"""A client written from protocol/README.md alone winds a job on the simulated winder.

It uses pyserial and binascii and nothing of ours: what it knows of the link stands on that page.
"""

from __future__ import annotations

import binascii
import json
import random
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest
import serial

if TYPE_CHECKING:
    from pathlib import Path

JOB = """
[take_up]
barrel_diameter_mm = 50
flange_diameter_mm = 90
inside_width_mm = 40
[strand]
diameter_mm = 1.75
[machine]
turns_per_layer = "22"
pulses_per_turn = 20
drive = "dc"
[target]
layers = 3
"""

LAYER = 22 * 20
TARGET = 3 * LAYER


class Stranger:
    """One connection: stop-and-wait requests, and what the winder tells meanwhile."""

    def __init__(self, port: str) -> None:
        self.port = serial.serial_for_url(port, timeout=0.02)
        self.sequence = random.Random(4).randrange(1000)
        self.rest = b""
        self.events: dict[int, list[str]] = {}
        self.progress: list[list[int]] = []

    def lines(self) -> list[list[str]]:
        self.rest += self.port.read(max(1, self.port.in_waiting))
        *whole, self.rest = self.rest.split(b"\n")
        found = []
        for line in whole:
            body, _, crc = line.rstrip(b"\r").rpartition(b" ")
            if crc != b"%08X" % binascii.crc32(body):
                continue
            words = body.decode("ascii").split(" ")
            if words[0][0] == "+":
                self.events.setdefault(int(words[0][1:]), words[1:])
            elif words[0][0] == "=":
                self.progress.append([int(word) for word in words[2:]])
            else:
                found.append(words)
        return found

    def ask(self, *words: object) -> list[str]:
        self.sequence = (self.sequence + 1) % 1000
        body = " ".join([f">{self.sequence}", *map(str, words)]).encode("ascii")
        line = body + b" %08X\n" % binascii.crc32(body)
        assert len(line) <= 128
        for _ in range(40):
            self.port.write(line)
            again_at = time.monotonic() + 0.25
            while time.monotonic() < again_at:
                for answer in self.lines():
                    if answer[0] == f"<{self.sequence}":
                        return answer[1:]
        raise AssertionError(f"no answer to {words}")


@pytest.fixture
def port(tmp_path: Path):
    job = tmp_path / "job.toml"
    job.write_text(JOB)
    simulator = subprocess.Popen(
        [sys.executable, "-m", "reelwright", "simulate", str(job), "--pace", "20", "--seed", "3"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert simulator.stdout is not None
    yield json.loads(simulator.stdout.readline())["port"]
    simulator.terminate()
    simulator.wait(10)
    simulator.stdout.close()


def test_the_page_is_enough_to_wind_a_job_to_its_exact_pulse(port: str) -> None:
    winder = Stranger(port)
    hello = winder.ask("hello", 1, 0, 4242)
    assert hello[0] == "hello"
    assert hello[1] == "1"
    assert hello[3] == "4242"
    assert winder.ask("status")[1] == "0", "empty"

    rate = 100 * 20  # hundredths of a pulse per second at one turn a second
    job = [3, 1, 1, LAYER, 1, LAYER, TARGET, 2 * rate, rate // 5, 3 * rate, 3 * rate, rate, 4]
    job += [300, 1000, 5, 0, 5000, 0, 0, 0, 1, 20, rate // 2, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    job += [LAYER, 1, 1000, 2]
    winder.ask("offer", 91, len(job))
    for at in range(0, len(job), 8):
        assert winder.ask("part", 91, at, *job[at : at + 8])[0] == "done"
    crc = binascii.crc32(" ".join(map(str, job)).encode("ascii"))
    assert winder.ask("accept", 91, f"{crc:08X}") == ["done", "1"]
    assert winder.ask("start", 91) == ["done", "2"]

    acknowledged, stops = 0, []
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        winder.lines()
        for number in sorted(winder.events):
            if number > acknowledged:
                winder.ask("ack", number)
                acknowledged = number
        _, state, _, pulses, _, wait, reason = winder.ask("status")
        assert reason == "0"
        if state == "4":
            stops.append(int(pulses))
            assert winder.ask("go_on", 91, wait)[0] == "done"
        if state == "5" and winder.events.get(acknowledged, [""])[0] == "ended":
            break
    verbs = [winder.events[number][0] for number in sorted(winder.events)]
    assert verbs.count("stopped") == 2
    assert verbs.count("layer_done") == 3
    assert [abs(pulses - stop) <= 1 for pulses, stop in zip(stops, (LAYER, 1000), strict=True)] == [True, True]
    assert abs(int(winder.events[acknowledged][3]) - TARGET) <= 1
    assert max(each[1] for each in winder.progress) >= TARGET - 1
    assert winder.ask("start", 91)[0] == "refused"
    assert winder.ask("dance")[0] == "refused"
