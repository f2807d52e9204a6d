"""`reelwright machine push`: the machine's description alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from install_bench import MACHINE, failure_of, install, on_board, push
from windlink import codes

if TYPE_CHECKING:
    from fake_board import FakeBoard

pytestmark = pytest.mark.usefixtures("at_once")


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
