"""`watch` on a simulated winder."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from simulated.winder import run, simulated, wind, write_job

if TYPE_CHECKING:
    from pathlib import Path


def test_watch_shows_where_a_winder_is_and_changes_nothing(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert wind(job, port, tmp_path)[0] == 5
        seen = run(tmp_path, "watch", "--port", port, "--json", "--once")
        assert seen.returncode == 0, seen.stderr
        first = json.loads(seen.stdout.splitlines()[0])
        assert (first["state"], first["layer"]) == ("waiting", 1)
        assert wind(job, port, tmp_path)[0] == 0


def test_watch_says_what_it_can_of_a_winder_without_a_job_or_with_a_strange_one(tmp_path: Path) -> None:
    job = write_job(tmp_path, pauses="[1]")
    elsewhere = tmp_path / "another computer"
    with simulated(job, tmp_path, "--pace", "20") as port:
        assert "empty: No job is loaded" in run(tmp_path, "watch", "--port", port).stdout
        assert wind(job, port, tmp_path)[0] == 5
        seen = run(elsewhere, "watch", "--port", port)
        assert seen.returncode == 0, seen.stderr
        assert "does not know: layer 1, 420 pulses." in seen.stdout
        told = json.loads(run(elsewhere, "watch", "--port", port, "--json").stdout)
        assert (told["kind"], told["state"], told["pulses"]) == ("status", "waiting", 420)
