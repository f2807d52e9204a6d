"""`reelwright install` broken off anywhere, on a board that fails or fills up."""

from __future__ import annotations

from itertools import count
from typing import TYPE_CHECKING

import pytest

from install_bench import failure_of, install, of_firmware, on_board

if TYPE_CHECKING:
    from pathlib import Path

    from fake_board import FakeBoard

pytestmark = pytest.mark.usefixtures("at_once")


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
