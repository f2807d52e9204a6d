"""`reelwright calibrate` as tests call it, and what they measure: winds of the bench winder, exact to the digit."""

from __future__ import annotations

import json
import tomllib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result

from reelwright.cli.calibrate import command
from reelwright.errors import FileFaultsError
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.profiles import build_job
from reelwright.snapshot import WindResult
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.plan import Plan

BENCH = ["--spool", "kilo", "--machine", "bench-dc", "--strand", "pla-1.75"]
READINGS = ["1.74mm", "1.75mm", "1.73mm", "1.74mm", "1.75mm"]


def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of the test's own for profiles and ledger, and a terminal wide enough for every sentence. A fixture."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "300")
    return tmp_path / "home"


def calibrate(*arguments: str) -> Result:
    """What the command ends with; its refusals are raised."""
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def answer_of(*arguments: str) -> dict[str, Any]:
    """Its answer to a script."""
    answer = json.loads(calibrate(*arguments, "--json").stdout)
    assert isinstance(answer, dict)
    return answer


def faults_of(*arguments: str) -> dict[str, str]:
    """The faults that it raises, by their places."""
    with pytest.raises(FileFaultsError) as refusal:
        calibrate(*arguments)
    return {fault.path: fault.message for fault in refusal.value.faults}


def stored(home: Path, name: str) -> dict[str, Any]:
    """A strand's profile as it stands in the file of new ones."""
    strand = tomllib.loads((home / "profiles" / "strand.toml").read_text(encoding="utf-8"))["strand"][name]
    assert isinstance(strand, dict)
    return strand


def bench_plan(**target: Any) -> Any:
    """The plan of a kilogram spool on the bench winder."""
    tables: dict[str, Any] = {
        "take_up": {"spool": "kilo"},
        "machine": {"profile": "bench-dc"},
        "strand": {"profile": "pla-1.75"},
        "target": target,
    }
    return make_plan(build_job(tables))


LONG_WIND = {"length_m": 200, "leader_m": 1}


def keep_in_ledger(job_id: int, plan: Plan | None = None, **result: Any) -> None:
    """A wind that was wound as planned, but for `result`; by default LONG_WIND on the bench winder."""
    plan = plan or bench_plan(**LONG_WIND)
    told = {
        "job_id": job_id, "state": "finished", "outcome": "reached", "target_pulses": plan.target_pulses,
        "counted_pulses": plan.target_pulses, "turns": plan.turns, "layers": plan.full_layers + 1,
        "length_m": plan.length_m, "length_u_m": plan.length_u_m, "mass_g": 600.0, "mass_u_g": 9.0,
    }  # fmt: skip
    with SqliteLedger(ledger_path(), now=lambda: datetime(2031, 5, 4, tzinfo=UTC)) as ledger:
        ledger.open_wind(job_id, job=plan.job.to_dict(), plan={}, port="", board="", firmware="", protocol="", boot=1)
        ledger.close_wind(job_id, WindResult(**(told | result)))


def measurement_file(folder: Path) -> Path:
    """Two winds, one of the ledger and one of a job file, and a micrometer; all exact."""
    keep_in_ledger(12)
    plan, other = bench_plan(**LONG_WIND), bench_plan(turns=500)
    job = other.job.to_dict()
    lines = []
    for name in ("take_up", "machine", "strand", "target"):
        table = job[name]
        assert isinstance(table, dict)
        lines += [f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in table.items())]
    (folder / "coil.toml").write_text("\n".join(lines), encoding="utf-8")
    file = folder / "measured.toml"
    file.write_text(
        "[micrometer]\nreadings_mm = [1.75, 1.75, 1.76, 1.74, 1.75]\n"
        f"[[wind]]\njob = 12\ngross_mass_g = {212 + plan.wound_mass_g:.2f}\nempty_mass_g = 212\n"
        f"layers = [[4, {plan.layers[3].diameter_mm:.2f}], [12, {plan.layers[11].diameter_mm:.2f}]]\n"
        f'[[wind]]\nfile = "coil.toml"\nlength_m = {other.wound_length_m:.3f}\n',
        encoding="utf-8",
    )
    return file
