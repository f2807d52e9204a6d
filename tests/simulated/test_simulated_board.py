"""The simulated board keeps the promises that the control loop builds on."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from boards.noise import Noise
from boards.simulated import SimulatedBoard
from plant.chance import Chance
from simulated.machines import machine_spec
from windcore.signals import Inputs, Outputs
from windcore.ticks import LOOP_MS, ticks_diff
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path


class FakePort:
    """Holds what was written, up to a room; gives what it was given."""

    def __init__(self) -> None:
        self.incoming = b""
        self.written = b""
        self.room = 10000
        self.pauses_ms: list[int] = []
        self.gone = False

    def receive(self, room: bytearray) -> int:
        data, self.incoming = self.incoming[: len(room)], self.incoming[len(room) :]
        room[: len(data)] = data
        return len(data)

    def write(self, data: bytes) -> int:
        taken = data[: self.room]
        self.room -= len(taken)
        self.written += taken
        return len(taken)

    def pause(self, wait_ms: int) -> None:
        self.pauses_ms.append(wait_ms)


def board(truth: Path | None = None, **changes: Any) -> tuple[SimulatedBoard, FakePort]:
    port = FakePort()
    spec = {**machine_spec(**changes), "pace": 9999, "truth_path": str(truth or ""), "tcp_port": 0}
    return SimulatedBoard(spec, port), port  # type: ignore[arg-type] - a port in shape


def full_drive() -> Outputs:
    outputs = Outputs()
    outputs.duty = 800
    return outputs


def test_an_output_reaches_the_machine_one_period_late() -> None:
    winder, _ = board()
    winder.apply(full_drive())
    assert winder.wait()
    assert winder.plant.speed == 0.0
    assert winder.wait()
    assert winder.plant.speed > 0.0


def test_off_is_at_once() -> None:
    winder, _ = board()
    for _ in range(100):
        winder.apply(full_drive())
        winder.wait()
    before = winder.plant.speed
    winder.off()
    winder.wait()
    assert winder.plant.speed < before


def test_the_clock_starts_five_seconds_before_its_wrap_and_steps_evenly_over_it() -> None:
    winder, _ = board()
    start_ms = before_ms = winder.now_ms()
    assert start_ms == (1 << 30) - 5000
    for _ in range(600):
        winder.wait()
        assert 0 <= winder.now_ms() < 1 << 30
        assert ticks_diff(winder.now_ms(), before_ms) == LOOP_MS
        before_ms = winder.now_ms()
    assert before_ms == 1000


def test_after_a_power_cut_counter_clock_and_boot_number_are_new_and_the_truth_is_not() -> None:
    winder, _ = board(faults=[["power_cut", 3.0]])
    inputs = Inputs()
    boot = winder.identity.boot
    winder.apply(full_drive())
    while winder.wait():
        winder.apply(full_drive())
    assert 3.1 < winder.plant.turns < 4.5  # it coasts while the power is off
    assert winder.plant.speed == 0.0
    assert winder.starts_again()
    winder.read(inputs)
    assert inputs.pulses == 0
    assert winder.identity.boot != boot
    assert winder.identity.cause == codes.POWER_ON
    assert winder.now_ms() == (1 << 30) - 5000
    assert winder.plant.passed > 170
    assert winder.wait()
    assert winder.plant.speed == 0.0, "a drive that starts by itself"
    assert not winder.starts_again()


def test_a_board_whose_port_is_gone_ends_its_loop() -> None:
    winder, port = board()
    assert winder.wait()
    port.gone = True
    assert not winder.wait()
    assert not winder.starts_again()


def test_the_byte_of_ctrl_c_interrupts_even_a_silent_link() -> None:
    winder, port = board(faults=[["link_silent", 0.0]])
    winder.wait()
    room = bytearray(16)
    port.incoming = b">1 status"
    assert winder.receive(room) == 0
    port.incoming = b"\x03"
    with pytest.raises(KeyboardInterrupt):
        winder.receive(room)


def test_a_line_is_handed_over_whole_or_not_at_all() -> None:
    winder, port = board()
    port.room = 0
    assert not winder.send(b"=1 progress\n")
    port.room = 5
    assert winder.send(b"=2 progress\n")  # begun, and kept until it is out
    assert not winder.send(b"=3 progress\n")
    port.room = 1000
    assert winder.send(b"=4 progress\n")
    assert port.written == b"=2 progress\n=4 progress\n"


def test_noise_spoils_a_fifth_of_the_bytes_in_bursts_and_never_interrupts() -> None:
    noise = Noise(Chance(1))
    sent = [bytes(range(32, 96)) for _ in range(3000)]
    left = [noise.spoil(line) for line in sent]
    whole = sum(one == other for one, other in zip(sent, left, strict=True))
    lost = sum(map(len, sent)) - sum(map(len, left))
    assert lost == pytest.approx(0.1 * 64 * 3000, rel=0.2)  # half of the spoilt fifth
    assert 0.45 < whole / 3000 < 0.75
    assert not any(b"\x03" in line for line in left)


def test_the_truth_tells_each_rest_with_its_overshoot(tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    winder, _ = board(truth)
    outputs = full_drive()
    while winder.plant.passed < 6000:
        winder.apply(outputs)
        winder.wait()
    outputs.off()
    outputs.brake = 1
    for _ in range(100):
        winder.apply(outputs)
        winder.wait()
    outputs.off()
    for _ in range(3):
        winder.apply(outputs)
        winder.wait()
    winder.close()
    told = [json.loads(line) for line in truth.read_text().splitlines()]
    rests = [line for line in told if line["kind"] == "rest"]
    assert len(rests) == 1
    assert rests[0]["true_pulses"] - 6000 == rests[0]["peak_overshoot_pulses"] > 3
    assert {line["motor"] for line in told} == {"off", "drive", "brake"}
    assert told[-1] == {**told[-1], "kind": "end", "motor": "off", "true_pulses": rests[0]["true_pulses"]}
