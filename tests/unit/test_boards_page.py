"""The page on board files: what it says of the ends of a drive is what session and boards do."""

from __future__ import annotations

from pathlib import Path

import pytest
from rig import in_state

import fakes.board_modules  # noqa: F401 - the board's modules must be there before its files
from boards.hardware import LEASE_LOOK_MS
from windcore.ticks import LEASE_MS, WATCHDOG_MS
from windlink import codes

PAGE = (Path(__file__).resolve().parents[2] / "firmware" / "boards" / "README.md").read_text(encoding="utf-8")
ENDS = PAGE.partition("## What ends a drive")[2].partition("\n## ")[0]


def end_of(way: str) -> tuple[str, str]:
    """What the page says that a way out does, and after which time."""
    row = next(line for line in ENDS.splitlines() if line.startswith(f"| {way}"))
    does, after = row.strip("| ").split(" | ")[1:]
    return does, after


def test_a_stop_brakes_until_the_spool_stands_as_the_page_says() -> None:
    does, after = end_of("stop, pause, end of a job")
    assert "PWM 0, enable high (the brake), and low once the spool stands" in does
    assert after == "one pass after the ramp"
    rig = in_state(codes.EASING)
    seen = []
    while rig.session.state == codes.EASING:
        seen.append((bool(rig.outputs.duty), rig.outputs.brake))
        rig.step()
    assert (rig.outputs.duty, rig.outputs.brake) == (0, 0)
    assert list(dict.fromkeys(seen)) == [(True, 0), (False, 1)]


def test_a_trip_lets_go_in_the_pass_that_sees_it_as_the_page_says() -> None:
    does, after = end_of("trip")
    assert "PWM 0, enable low" in does
    assert after == "one pass"
    rig = in_state(codes.WINDING)
    assert rig.outputs.duty
    rig.inputs.switches = codes.STOP_BUTTON
    rig.step()
    assert rig.session.state == codes.TRIPPED
    assert (rig.outputs.duty, rig.outputs.brake) == (0, 0)


@pytest.mark.parametrize("way", ["loop stands still", "hang in a call of C"])
def test_the_page_has_the_times_of_lease_and_watchdog(way: str) -> None:
    does, after = end_of(way)
    assert after.startswith(f"{LEASE_MS} to {LEASE_MS + LEASE_LOOK_MS} ms")
    assert ("watchdog" in does) == (f"; {WATCHDOG_MS // 1000} s" in after)


def test_no_line_of_prose_is_far_wider_than_the_others() -> None:
    prose = [line for line in PAGE.splitlines() if not line.startswith("|")]
    assert [line for line in prose if len(line) > 132] == []
