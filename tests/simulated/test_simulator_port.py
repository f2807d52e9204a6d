"""The simulated winder behind a real port: it answers, survives its clients, and ends when it should."""

from __future__ import annotations

import json
import os
import select
import shlex
import signal
import subprocess
import time
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import serial
from attrs import evolve

from interpreters import has_micropython
from reelwright.cli.simulate import fault_notes
from reelwright.device.discovery import is_gone
from reelwright.errors import UsageError
from reelwright.profiles import load_job, load_part
from reelwright.simulator import Simulator, SimulatorOptions
from reelwright.winding.plan import make_plan
from simulated.winder import COMMAND, environment, write_job
from windlink.codec import decode, encode

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

INTERPRETERS = ["cpython"] + (["micropython"] if has_micropython else [])
DEADLINE_S = 10.0


def simulator(folder: Path, **options: Any) -> Simulator:
    job = load_job(write_job(folder))
    return Simulator(job, make_plan(job), SimulatorOptions(seed=5, **options))


def ask(port: serial.SerialBase, sequence: int, verb: str, *values: int) -> tuple[object, ...]:
    """The answer to one request, whatever else the winder says; asked again each second."""
    deadline_s = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline_s:
        port.write(encode(">", sequence, verb, values))
        again_s = time.monotonic() + 1.0
        while time.monotonic() < again_s:
            line = port.read_until(b"\n")
            if line[:1] == b"<" and line.endswith(b"\n"):
                message, number, answer = decode(line)
                if number == sequence:
                    return (message.verb, *answer)
    raise AssertionError(f"no answer to {verb}")


def until(truly: Callable[[], bool]) -> bool:
    """Whether it comes true within the deadline."""
    deadline_s = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline_s:
        if truly():
            return True
        time.sleep(0.01)
    return truly()


def state_and_parent(pid: int) -> tuple[str, int]:
    """State letter and parent of a process, as /proc tells them; ("", 0) where there is no such process."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text(errors="replace").rpartition(")")[2].split()
    except OSError:
        return "", 0
    return words[0], int(words[1])


def parent(pid: int) -> int:
    return state_and_parent(pid)[1]


def running(pid: int) -> bool:
    """Whether it exists and is not just waiting to be reaped."""
    return state_and_parent(pid)[0] not in ("", "Z")


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@pytest.mark.parametrize("transport", ["pty", "socket"])
def test_it_answers_and_a_client_may_come_back(tmp_path: Path, transport: str, interpreter: str) -> None:
    with simulator(tmp_path, pace=0, transport=transport, interpreter=interpreter) as winder:
        assert winder.interpreter == interpreter
        assert winder.port.startswith("socket://127.0.0.1:" if transport == "socket" else "/dev/")
        boots = []
        for sequence in (1, 2):
            with serial.serial_for_url(winder.port, timeout=0.2) as port:
                verb, major, _, session, _, board, boot, _, pace = ask(port, sequence, "hello", 1, 0, 4711)
                assert (verb, major, session, board, pace) == ("hello", 1, 4711, "simulated", 0)
                boots.append(boot)
                assert ask(port, sequence + 10, "status")[:2] == ("status", 0)
        assert boots[0] == boots[1]
        assert winder.poll() is None


@pytest.mark.parametrize("transport", ["pty", "socket"])
def test_asking_whether_a_port_is_gone_disturbs_no_winder_that_is_there(tmp_path: Path, transport: str) -> None:
    with simulator(tmp_path, pace=0, transport=transport) as winder:
        assert not is_gone(winder.port)
        with serial.serial_for_url(winder.port, timeout=0.2) as port:
            ask(port, 1, "hello", 1, 0, 1)
            assert not is_gone(winder.port)
            assert ask(port, 2, "status")[:2] == ("status", 0)
        name = winder.port
    assert until(lambda: is_gone(name))


@pytest.mark.parametrize("transport", ["pty", "socket"])
def test_the_byte_of_ctrl_c_ends_it_with_the_drive_off(tmp_path: Path, transport: str) -> None:
    with simulator(tmp_path, pace=0, transport=transport) as winder:
        with serial.serial_for_url(winder.port, timeout=0.2) as port:
            ask(port, 1, "hello", 1, 0, 1)
            port.write(b"\x03")
            assert winder.wait(DEADLINE_S) == 0
        assert winder.complaint() == "Interrupted: the drive is off."
        truth = winder.truth()
        assert (truth["kind"], truth["motor"], truth["true_turns"]) == ("end", "off", 0.0)


def test_rubbish_on_the_port_is_neither_echoed_nor_fatal(tmp_path: Path) -> None:
    rubbish = bytes(byte for byte in range(256) if byte != 3) * 40
    with simulator(tmp_path, pace=0) as winder, serial.serial_for_url(winder.port, timeout=0.2) as port:
        port.write(rubbish)
        assert port.read(1) == b""
        port.write(b"\n")
        assert ask(port, 1, "hello", 1, 0, 1)[0] == "hello"


def test_virtual_time_keeps_its_pace(tmp_path: Path) -> None:
    with simulator(tmp_path, pace=20) as winder:
        assert until(lambda: float(str(winder.truth().get("virtual_s", 0))) > 2)
        from_real_s, from_virtual_s = time.monotonic(), float(str(winder.truth()["virtual_s"]))
        assert until(lambda: float(str(winder.truth()["virtual_s"])) >= from_virtual_s + 20)
        assert 0.7 < time.monotonic() - from_real_s < 3.0


def test_without_a_host_virtual_time_goes_on_at_a_gentle_pace_at_most(tmp_path: Path) -> None:
    with simulator(tmp_path, pace=0) as winder:
        assert until(lambda: float(str(winder.truth().get("virtual_s", 0))) > 2)
        from_real_s, from_virtual_s = time.monotonic(), float(str(winder.truth()["virtual_s"]))
        assert until(lambda: float(str(winder.truth()["virtual_s"])) >= from_virtual_s + 10)
        # twenty times as fast as real, less half a virtual second of a sample's age
        assert time.monotonic() - from_real_s > 0.45


def test_every_line_of_the_truth_file_carries_the_totals(tmp_path: Path) -> None:
    truth_file = tmp_path / "truth.jsonl"
    with simulator(tmp_path, pace=0, truth_path=truth_file) as winder:
        assert until(lambda: float(str(winder.truth().get("virtual_s", 0))) > 2)
    told = [json.loads(line) for line in truth_file.read_text().splitlines()]
    assert [told[0]["kind"], told[1]["kind"], told[-1]["kind"]] == ["start", "sample", "end"]
    totals = {"virtual_s", "true_turns", "true_pulses", "true_length_m", "peak_overshoot_pulses", "motor"}
    assert all(set(line) >= totals for line in told)
    samples_s = [line["virtual_s"] for line in told if line["kind"] == "sample"]
    assert {round(later - earlier, 3) for earlier, later in pairwise(samples_s)} == {0.5}


def test_a_truth_file_that_cannot_be_is_refused_before_anything_starts(tmp_path: Path) -> None:
    winder = simulator(tmp_path, truth_path=tmp_path / "nowhere" / "truth.jsonl")
    with pytest.raises(UsageError, match=r"nowhere.*No such file"), winder:
        pass
    assert winder.poll() is None


def test_the_process_and_the_port_are_gone_after_a_failure_within(tmp_path: Path) -> None:
    winder = simulator(tmp_path)

    def fail_within() -> None:
        with winder:
            seen.append((winder.port, winder._process))
            raise RuntimeError("within")

    seen: list[tuple[str, subprocess.Popen[bytes] | None]] = []
    with pytest.raises(RuntimeError, match="within"):
        fail_within()
    port, process = seen[0]
    assert process is not None
    assert process.poll() is not None
    assert not os.path.exists(port)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@pytest.mark.parametrize("transport", ["pty", "socket"])
def test_a_program_that_fails_says_so_to_the_person_and_nothing_on_the_port(
    tmp_path: Path, transport: str, interpreter: str
) -> None:
    # a fault at no number: the machine breaks in its first step
    broken = simulator(tmp_path, pace=1, transport=transport, interpreter=interpreter, faults=(("snag", "never"),))
    with broken as winder:
        assert winder.wait(DEADLINE_S) == 1
        assert "TypeError" in winder.complaint()
        if transport == "pty":
            assert winder._held_open is not None
            assert not select.select([winder._held_open], [], [], 0)[0] or read(winder._held_open) == b""


def read(end: int) -> bytes:
    """What waits at our end of a pseudo-terminal; nothing where the other end is closed."""
    try:
        return os.read(end, 4096)
    except OSError:
        return b""


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_the_command_tells_port_first_and_truth_last_and_exits_0(tmp_path: Path, end: signal.Signals) -> None:
    program = start_command(tmp_path, "--pace", "max", "--seed", "9")
    assert program.stdout is not None
    first = json.loads(program.stdout.readline())
    assert first["kind"] == "simulator"
    assert (first["seed"], first["pace"]) == (9, "max")
    program.send_signal(end)
    out, err = program.communicate(timeout=DEADLINE_S)
    assert program.returncode == 0, err
    last = json.loads(out.splitlines()[-1])
    assert (last["kind"], last["true_turns"], last["peak_overshoot_pulses"]) == ("truth", 0.0, 0)
    assert "Traceback" not in err


@pytest.mark.skipif(not os.path.exists("/proc/self/stat"), reason="looks at processes through /proc")
@pytest.mark.parametrize("in_use", [False, True])
@pytest.mark.parametrize("transport", [(), ("--socket",)])
def test_a_killed_command_leaves_no_winder_behind(tmp_path: Path, transport: tuple[str, ...], in_use: bool) -> None:
    program = start_command(tmp_path, "--pace", "max", *transport)
    assert program.stdout is not None
    name = json.loads(program.stdout.readline())["port"]
    children = [int(entry) for entry in os.listdir("/proc") if entry.isdigit() and parent(int(entry)) == program.pid]
    assert len(children) == 1
    with ExitStack() as stack:
        if in_use:
            port = stack.enter_context(serial.serial_for_url(name, timeout=0.2))
            ask(port, 1, "hello", 1, 0, 1)
        program.kill()
        program.communicate(timeout=DEADLINE_S)
        assert until(lambda: not running(children[0]))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--fault", "gremlin@3"), "no kind of fault; there are: run_out, snag"),
        (("--fault", "snag"), "write snag@TURNS"),
        (("--fault", "snag@-1"), "write snag@TURNS"),
        (("--fault", "snag@nan"), "write snag@TURNS"),
        (("--pace", "0"), "is no pace"),
        (("--pace", "1.5"), "is no pace"),
        (("--true-diameter-mm", "0"), "above 0"),
        (("--true-rise", "inf"), "above 0"),
        (("--seed", "-1"), "--seed"),
        (("--truth", "job.toml"), "would overwrite the job file"),
    ],
)
def test_bad_options_are_usage_errors_in_a_sentence(tmp_path: Path, options: tuple[str, str], words: str) -> None:
    program = start_command(tmp_path, *options)
    out, err = program.communicate(timeout=DEADLINE_S)
    assert (program.returncode, out) == (2, "")
    assert words in " ".join(err.split())
    assert "Traceback" not in err
    assert write_job(tmp_path).read_text().startswith("\n[take_up]")


def test_a_fault_that_cannot_strike_this_machine_is_told_at_the_start(tmp_path: Path) -> None:
    faults = ("lost_steps", "swapped_channels", "sensor_weak", "runaway")
    program = start_command(tmp_path, *(word for kind in faults for word in ("--fault", f"{kind}@3")))
    assert program.stdout is not None
    program.stdout.readline()
    program.send_signal(signal.SIGINT)
    notes = program.communicate(timeout=DEADLINE_S)[1].splitlines()
    assert notes == [
        "Note: lost_steps does nothing with drive dc: it is a fault of stepper.",
        "Note: swapped_channels does nothing with sensor single: one channel has no direction.",
        "Note: only a stepper or a measuring wheel notices sensor_weak; here the spool may hold more than is counted.",
    ]


def test_a_dead_sensor_of_a_hand_winder_is_said_to_go_unnoticed() -> None:
    hand = evolve(load_part("machine", "bench-dc"), drive="hand", fitted=())
    (note,) = fault_notes(hand, ["sensor_dead"])
    assert note.startswith("only a driven spool or a measuring wheel notices sensor_dead")
    assert list(fault_notes(evolve(hand, drive="dc"), ["sensor_dead"])) == []
    assert list(fault_notes(evolve(hand, fitted=("measuring_wheel",)), ["sensor_dead"])) == []


def start_command(folder: Path, *options: str) -> subprocess.Popen[str]:
    job = write_job(folder)
    return subprocess.Popen(
        [*COMMAND, "simulate", job.name, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(folder),
        cwd=folder,
    )


def at_a_terminal(folder: Path, *options: str, columns: int = 100) -> str:
    """What `simulate` shows a person until Ctrl-C, once its port is told."""
    person, program = os.openpty()
    command = [*COMMAND, "simulate", str(write_job(folder)), *options]
    environ = {**environment(folder), "COLUMNS": str(columns)}
    with subprocess.Popen(command, stdout=program, stderr=subprocess.DEVNULL, env=environ) as running:
        os.close(program)
        shown = os.read(person, 4096)
        while not shown.endswith((b"--port " + shown.partition(b" at ")[2].split(b"\r")[0] + b"\r\n", b"}\r\n")):
            shown += os.read(person, 4096)
        running.send_signal(signal.SIGINT)
        while b"true_length_m" not in shown and b"Truly wound" not in shown:
            shown += os.read(person, 4096)
        running.wait(DEADLINE_S)
    os.close(person)
    return shown.decode().replace("\r\n", "\n")


def test_a_person_at_a_terminal_is_told_the_port_in_words(tmp_path: Path) -> None:
    first, *_, command, truth = at_a_terminal(tmp_path).splitlines()
    port = first.removeprefix("A simulated winder answers at ")
    assert Path(port).is_absolute()
    assert shlex.split(command) == ["reelwright", "wind", str(tmp_path / "job.toml"), "--port", port]
    assert truth.startswith("Truly wound: 0.000 m in 0.00 turns")


def test_the_greeting_keeps_to_a_narrow_terminal_but_for_the_command_to_copy(tmp_path: Path) -> None:
    told = at_a_terminal(tmp_path, columns=44).splitlines()
    command = next(line for line in told if "--port" in line)
    assert command.startswith(f"  reelwright wind {tmp_path / 'job.toml'} --port /")
    assert len(told) > 5
    assert all(len(line) <= 44 for line in told if line != command)


def test_json_is_json_at_a_terminal_too(tmp_path: Path) -> None:
    kinds = [json.loads(line)["kind"] for line in at_a_terminal(tmp_path, "--json").splitlines()]
    assert kinds == ["simulator", "truth"]
