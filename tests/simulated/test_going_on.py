"""What an operator is told who wants what the winder cannot do where it is."""

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


def test_who_wants_to_abandon_a_tripped_job_is_told_to_clear_the_trip_first(tmp_path: Path) -> None:
    with small_bench(tmp_path, (("snag", 5.0),)) as bench:
        under_way = bench.begin()
        while bench.client_status()["state"] != codes.TRIPPED:
            bench.winder.pass_periods(20)
        under_way._ask()
        under_way._obey("abandon")
        assert "clear the trip first, by c (clear), and then abandon" in bench.view.notices[-1]
        assert bench.client_status()["state"] == codes.TRIPPED
