"""What an operator is told who wants to go on from where there is no going on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulated.lockstep import small_bench
from windlink import codes

if TYPE_CHECKING:
    from pathlib import Path


def test_who_wants_to_go_on_from_a_trip_is_told_to_clear_it_first(tmp_path: Path) -> None:
    with small_bench(tmp_path, (("snag", 5.0),)) as bench:
        under_way = bench.begin()
        while bench.client_status()["state"] != codes.TRIPPED:
            bench.winder.pass_periods(20)
        under_way.go_on()
        told = bench.view.notices[-1]
        assert "The winder is tripped (" in told
        assert "c (clear) clears the trip, and then g (go on) goes on" in told
