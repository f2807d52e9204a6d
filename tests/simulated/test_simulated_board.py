"""The simulated board keeps the promises that the control loop builds on."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from boards.noise import DELAYED, DOUBLED, FLIPPED, LONGEST_DELAY_MS, LOST, Noise
from boards.simulated import SimulatedBoard
from boards.usb_port import ROOM_BYTES, STALL_MS
from plant.chance import Chance
from simulated.machines import machine_spec
from windcore import loop
from windcore.journal import Registers
from windcore.signals import LAMP_WIND, Inputs, Outputs
from windcore.ticks import LOOP_MS, ticks_diff
from windlink import codes
from windlink.codec import decode, encode

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
    return SimulatedBoard(spec, port), port


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
    assert inputs.pulses == (1 << 30) - 100, "counter and clock start just before their wrap"
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


def test_a_line_is_begun_only_where_there_is_room_and_ended_before_the_next() -> None:
    winder, port = board()
    port.room = 0
    taken = [winder.send(b"=%03d progress\n" % number) for number in range(40)]
    assert taken.count(True) == -(-ROOM_BYTES // 14)
    assert taken == sorted(taken, reverse=True)
    port.room = 1000
    winder.wait()
    assert winder.send(b"=999 progress\n")
    assert port.written == b"".join(b"=%03d progress\n" % number for number in [*range(taken.count(True)), 999])


def through(noise: Noise, data: bytes, step: int = 64) -> bytes:
    """What comes out of a cable that is given so many bytes in each period."""
    out = b""
    now_ms = 0
    for at in range(0, len(data), step):
        noise.take(data[at : at + step], now_ms)
        out += noise.give(now_ms, 1000)
        now_ms += LOOP_MS
    return out + noise.give(now_ms + LONGEST_DELAY_MS, len(data))


def test_noise_hits_a_fifth_of_the_bytes_in_bursts_by_four_kinds_alike_and_never_interrupts() -> None:
    noise = Noise(Chance(1))
    sent = bytes(range(32, 96)) * 6000
    left = through(noise, sent)
    assert noise.passed == len(sent)
    assert sum(noise.hit) == pytest.approx(0.2 * len(sent), rel=0.1)
    assert noise.hit == pytest.approx([0.05 * len(sent)] * 4, rel=0.1)
    assert len(left) == len(sent) - noise.hit[LOST] + noise.hit[DOUBLED]
    assert b"\x03" not in left
    whole = left.count(bytes(range(32, 96)))
    assert 0.45 < whole / 6000 < 0.75, "bursts leave more than half of the lines whole"


def test_a_byte_is_delayed_by_half_a_second_at_most_and_what_follows_waits_behind_it() -> None:
    for seed in range(200):
        noise = Noise(Chance(seed), share=0.999, burst_bytes=1000)
        sent = b"abcdefgh"
        noise.take(sent, 0)
        at_once = noise.give(0, 100)
        later = noise.give(LONGEST_DELAY_MS, 100)
        assert noise.give(10 * LONGEST_DELAY_MS, 100) == b"", "nothing comes later still"
        if not (noise.hit[LOST] or noise.hit[FLIPPED] or noise.hit[DOUBLED]):
            assert at_once + later == sent
        if noise.hit[DELAYED]:
            assert later


def test_an_even_spread_hits_its_share() -> None:
    noise = Noise(Chance(3), share=0.05, burst_bytes=1 / 0.95)
    through(noise, bytes(100000))
    assert sum(noise.hit) == pytest.approx(5000, rel=0.1)


def test_the_truth_tells_each_rest_with_its_overshoot(tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    winder, _ = board(truth)
    Registers(winder.backup).keep(1, 0, 0, codes.WINDING, 0)
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


def test_the_truth_begins_once_the_loop_runs_which_is_what_tells_its_end(tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    winder, _ = board(truth)
    assert truth.read_text() == "", "a launcher takes the first line for a winder that can be stopped"
    winder.wait()
    winder.wait()
    winder.close()
    told = [json.loads(line) for line in truth.read_text().splitlines()]
    assert [(line["kind"], line["virtual_s"]) for line in told] == [("start", 0.0), ("sample", 0.01), ("end", 0.02)]


class HostThatStopsReading(FakePort):
    """Asks for the state twice a second, so that the winder tells progress, and reads nothing after a second."""

    def __init__(self, periods: int) -> None:
        super().__init__()
        self.left = periods

    def receive(self, room: bytearray) -> int:
        self.left -= 1
        self.gone = self.left <= 0
        self.room = 0 if self.left < 900 else 10000
        if self.left % 50 == 0:
            self.incoming += encode(">", self.left // 50, "status" if self.left > 50 else "counters")
        if self.left < 80:
            self.room = 10000
        return super().receive(room)


class WritesWithoutAsking(SimulatedBoard):
    """A board file that forgets to ask the port before it writes."""

    def send(self, line: bytes) -> bool:
        self.write(line)
        return True


@pytest.mark.parametrize(("kind", "held_up"), [(SimulatedBoard, False), (WritesWithoutAsking, True)])
def test_a_host_that_stops_reading_holds_the_loop_up_only_where_the_port_is_not_asked_first(
    kind: type[SimulatedBoard], held_up: bool
) -> None:
    port = HostThatStopsReading(1000)
    winder = kind({**machine_spec(), "pace": 0, "truth_path": "", "tcp_port": 0}, port)
    loop.run(winder)
    lines = [line for line in port.written.split(b"\n") if b" counters " in line]
    message, _, values = decode(lines[-1])
    told = message.named(values)
    print(
        f"asked first: {not held_up}; longest period {told['longest_loop_ms']} ms, {told['dropped_progress']} dropped"
    )
    if held_up:
        assert told["longest_loop_ms"] >= STALL_MS
    else:
        assert told["longest_loop_ms"] == LOOP_MS
        assert told["dropped_progress"] > 0


def crank(**faults: Any) -> SimulatedBoard:
    """A board whose spool a hand has turned for three seconds, and turns on."""
    winder, _ = board(drive=codes.HAND, **faults)
    under_hand = Outputs()
    under_hand.lamp = LAMP_WIND
    for _ in range(300):
        winder.apply(under_hand)
        winder.wait()
    assert winder.plant.speed > 0.0
    return winder


def test_flash_may_be_written_under_a_crank_only_while_no_pulse_tells_that_it_turns() -> None:
    with pytest.raises(RuntimeError, match="while something turns"):
        crank().store.write(0, b"x")
    dead = crank(faults=[["sensor_dead", 1.0]])
    dead.store.write(0, b"x")
    assert dead.store.read(0) == b"x"


@pytest.mark.parametrize("faults", [[], [["sensor_dead", 1.0]]])
@pytest.mark.parametrize("drive", [codes.DC, codes.STEPPER])
def test_flash_is_never_written_while_a_motor_drives_or_what_it_drove_coasts(drive: int, faults: list[Any]) -> None:
    winder, _ = board(drive=drive, faults=faults)
    outputs = Outputs()
    for _ in range(300):
        outputs.duty, outputs.step_rate = (600, 0) if drive == codes.DC else (0, 2000)
        winder.apply(outputs)
        winder.wait()
    with pytest.raises(RuntimeError, match="while something turns"):
        winder.store.write(0, b"x")
    outputs.off()
    for _ in range(2):
        winder.apply(outputs)
        winder.wait()
    if drive == codes.DC:
        assert winder.motor() == "off"
        with pytest.raises(RuntimeError, match="while something turns"):
            winder.store.write(0, b"x")
    for _ in range(500):
        winder.apply(outputs)
        winder.wait()
    winder.store.write(0, b"x")


@pytest.mark.parametrize(
    ("fault", "limits", "told"),
    [
        ("snag", {"tension_snag_permille": 600, "tension_slack_permille": 20}, codes.TENSION_SWITCH),
        ("run_out", {"tension_snag_permille": 600, "tension_slack_permille": 20}, codes.RUN_OUT_SWITCH),
        ("run_out", {"tension_snag_permille": 600, "tension_slack_permille": 0}, 0),
        ("snag", {"tension_snag_permille": 0, "tension_slack_permille": 20}, 0),
    ],
)
def test_a_tension_sensor_stands_in_for_both_switches_of_the_strand_as_far_as_it_has_limits(
    fault: str, limits: dict[str, int], told: int
) -> None:
    spec = {**machine_spec(faults=[[fault, 2.0]]), "pace": 9999, "truth_path": "", "tcp_port": 0}
    winder = SimulatedBoard({**spec, "tension_level": {"full_n": 20.0, **limits}}, FakePort())
    inputs = Inputs()
    seen = 0
    for _ in range(400):
        winder.read(inputs)
        assert winder.plant.turns > 1.9 or not inputs.switches, "it is drawn taut before the start, and stays so"
        seen |= inputs.switches
        winder.apply(full_drive())
        winder.wait()
    assert winder.plant.switches
    assert seen == told
