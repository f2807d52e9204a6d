"""`reelwright install` on another board than meant, or on one that is in the middle of something."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from serial.tools import list_ports

from install_bench import MACHINE, failure_of, install, on_board, push
from reelwright.cli.install import command as install_command
from reelwright.cli.machine import command as machine_command
from reelwright.errors import EXIT_USAGE, PortError
from reelwright.install import delivery, installation

if TYPE_CHECKING:
    from fake_board import FakeBoard

pytestmark = pytest.mark.usefixtures("at_once")


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


@pytest.mark.parametrize(
    "nowhere", [["--port", "/dev/ttyNOWHERE"], ["--port", "socket://127.0.0.1:9"], []], ids=["name", "socket", "none"]
)
def test_where_no_board_is_none_is_told_to_take_a_simulated_one(
    machine: str, monkeypatch: pytest.MonkeyPatch, nowhere: list[str]
) -> None:
    monkeypatch.setattr(list_ports, "comports", list)
    for command, given in ((install_command, ["--machine", machine]), (machine_command, ["push", machine])):
        failure = failure_of(CliRunner().invoke(command, [*given, *nowhere]))
        assert isinstance(failure, PortError)
        assert "board" in failure.remedy
        assert "simulate" not in failure.remedy


def test_a_dry_run_for_another_board_than_the_machines_is_refused(machine: str) -> None:
    failure = failure_of(CliRunner().invoke(install_command, ["--dry-run", "--machine", machine, "--board", "pico2"]))
    assert failure.message == f"{machine} is for the board pico, and --board says pico2."
    told = CliRunner().invoke(install_command, ["--dry-run", "--machine", machine, "--board", "pico", "--json"])
    assert json.loads(told.output)["board"] == "pico"


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
    board.reset = lambda: None
    failure = failure_of(install(board, "--machine", machine))
    assert "does not answer" in failure.message
    assert "reset button" in failure.remedy
