"""The restart for an upload: the port is the interpreter's own, the drive off, and the next start as any other."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

import serial

from boards.simulated_memory import SimulatedFlash
from simulated.test_simulated_board import FakePort, board
from simulated.winder import run as run_command
from simulated.winder import simulated, start_wind, wind, write_job
from windcore import restart
from windcore.journal import WORDS, Memory, Registers
from windcore.loop import run
from windcore.ticks import LOOP_MS, WATCHDOG_MS
from windlink import codes
from windlink.codec import decode, encode

if TYPE_CHECKING:
    import subprocess
    from pathlib import Path

    from boards.simulated import SimulatedBoard

CTRL_D = b"\x04"
PROMPT = b">>> "


def start(winder: SimulatedBoard, port: FakePort, *lines: bytes) -> bool:
    """Run the winder until it asks for a restart, or for two seconds; whether it asked. Each line a period later."""
    waits = iter(range(200))
    wait = winder.wait

    def next_wait() -> bool:
        at = next(waits, None)
        if at is not None and at < len(lines):
            port.incoming += lines[at]
        return wait() and at is not None

    winder.wait = next_wait
    try:
        return run(winder)
    finally:
        del winder.wait


def told_cause(words: list[int], cause: int) -> tuple[int, int]:
    """What the control loop takes a start for that the chip takes for `cause`, and how long it then takes a waiting job
    to have gone uncounted, where the board says 400 ms."""
    registers = Registers(words)
    registers.read()
    registers.keep(77, 5, 0, codes.WAITING, 0)
    memory = Memory(words, SimulatedFlash(lambda: False, lambda _: None), 400, cause)
    assert memory.past is not None
    return memory.cause, memory.past.dark_ms


def test_the_word_is_good_for_one_start_without_the_loop_and_one_with_it() -> None:
    words = [0] * WORDS
    assert not restart.is_for_upload(words)
    restart.ask_for_upload(words)
    assert restart.is_for_upload(words)
    assert not restart.is_for_upload(words)
    assert told_cause(words, codes.WATCHDOG) == (codes.COMMANDED, 0)  # nobody can tell: an upload may take any time
    assert told_cause([0] * WORDS, codes.WATCHDOG) == (codes.WATCHDOG, 416)


def test_a_word_that_is_for_the_loop_is_left_to_it() -> None:
    words = [0] * WORDS
    Registers(words).announce(codes.COMMANDED)
    assert not restart.is_for_upload(words)
    assert told_cause(words, codes.SOFT_RESET)[0] == codes.COMMANDED


def test_what_a_loss_of_power_leaves_is_no_word() -> None:
    words = [0] * WORDS
    restart.ask_for_upload(words)
    good = words[-1]
    for bit in range(30):
        words[-1] = good ^ 1 << bit
        assert not restart.is_for_upload(words), bit
        assert told_cause(words, codes.POWER_ON)[0] == codes.POWER_ON


def test_a_winder_at_rest_answers_and_restarts_without_its_loop_and_then_as_any_other() -> None:
    winder, port = board()
    assert start(winder, port, encode(">", 1, "maintenance"))
    assert decode(port.written.splitlines()[0])[:2] == (decode(encode("<", 1, "done", (codes.EMPTY,)))[0], 1)
    restart.ask_for_upload(winder.backup)
    winder.restart()
    assert winder.starts_again()
    assert restart.is_for_upload(winder.backup)

    port.written = b""
    port.incoming = encode(">", 2, "hello", (1, 0, 3)) + b"\x03" + CTRL_D
    winder.leave_port("free")
    assert port.written.startswith(b"free\r\n" + PROMPT)
    assert winder.motor() == "off"
    assert winder.starts_again()
    port.written = b""
    assert not start(winder, port, encode(">", 3, "hello", (1, 0, 4)), encode(">", 4, "status"))
    assert winder.identity.cause == codes.COMMANDED
    told = [decode(line) for line in port.written.splitlines() if line[:1] == b"<"]
    assert [(message.verb, message.named(values).get("state")) for message, _, values in told] == [
        ("hello", None),
        ("status", codes.EMPTY),
    ]


def test_no_watchdog_bites_while_the_port_is_free_and_nothing_of_the_link_is_answered() -> None:
    winder, port = board()
    periods = iter(range(3 * WATCHDOG_MS // LOOP_MS))
    receive = port.receive

    def later(room: bytearray) -> int:
        at = next(periods, None)
        port.incoming += CTRL_D if at is None else encode(">", 7, "status") if at % 50 == 0 else b""
        return receive(room)

    port.receive = later
    winder.leave_port("free")
    assert winder.identity.boot  # the same start all the time
    assert winder.starts_again()
    assert not [line for line in port.written.splitlines() if line[:1] in (b"<", b"=", b"+")]


def test_power_lost_while_the_port_is_free_leads_to_a_normal_start() -> None:
    winder, _ = board()
    restart.ask_for_upload(winder.backup)
    winder._restart(codes.POWER_ON)
    assert winder.starts_again()
    assert not restart.is_for_upload(winder.backup)


def test_the_port_of_a_real_process_is_freed_at_rest_and_winds_again_after_its_restart(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "20", "--truth", str(truth)) as port:
        code, lines, err = wind(job, port, tmp_path)
        told_pulses = lines[-1]["counted_pulses"]
        assert code == 5, err  # at rest at the end of layer 1
        freed = free_port(tmp_path, port)
        assert (freed.returncode, freed.stderr) == (0, "")
        assert "free for uploads" in freed.stdout
        refused = run_command(tmp_path, "checkup", "--port", port)
        assert refused.returncode == 3
        assert "no control loop runs" in refused.stderr
        assert "Ctrl-D" in refused.stderr
        with serial.Serial(port, timeout=2) as prompt:
            prompt.write(CTRL_D)
        again = run_command(tmp_path, "checkup", "--port", port, "--json")
        report = json.loads(again.stdout)
        assert report["cause"] == "commanded"
        found = {each["code"] for each in report["verdicts"]}
        assert "restarted_by_itself" not in found
        assert {"tripped", "job_remembered"} <= found  # a job was under way, and waits to be resumed
        assert report["held"]["remembered_pulses"] == told_pulses
    told = [json.loads(line) for line in truth.read_text().splitlines()]
    at = next(index for index, each in enumerate(told) if each["kind"] == "port_free")
    assert {each["motor"] for each in told[at:]} == {"off"}
    assert {each["true_pulses"] for each in told[at:]} == {told[at]["true_pulses"]}
    assert kinds(truth).count("commanded") == 1


def test_a_winder_that_turns_refuses_and_winds_on(tmp_path: Path) -> None:
    job = write_job(tmp_path, link_loss="wind_on")
    truth = tmp_path / "truth.jsonl"
    with simulated(job, tmp_path, "--pace", "2", "--truth", str(truth)) as port:
        program = start_wind(job, port, tmp_path)
        while json.loads(truth.read_text().rstrip().splitlines()[-1])["true_turns"] < 1:
            assert program.poll() is None
            time.sleep(0.05)
        program.kill()
        program.communicate()
        refused = free_port(tmp_path, port)
        assert refused.returncode == 3
        assert "refused `maintenance`" in refused.stderr
        before = json.loads(truth.read_text().rstrip().splitlines()[-1])["true_turns"]
        code, told, err = wind(job, port, tmp_path)
        assert code == 0, err
        assert told[-1]["outcome"] == "reached"
    assert before > 1
    assert "commanded" not in kinds(truth)


def free_port(home: Path, port: str) -> subprocess.CompletedProcess[str]:
    """`checkup --free-port`, given again while the spool is not yet known to stand."""
    for _ in range(20):
        done = run_command(home, "checkup", "--free-port", "--port", port)
        if "still turns" not in done.stderr:
            return done
        time.sleep(0.1)
    return done


def kinds(truth: Path) -> list[str]:
    return [json.loads(line)["kind"] for line in truth.read_text().rstrip().splitlines()]
