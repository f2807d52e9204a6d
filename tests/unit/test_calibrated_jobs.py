"""A job whose strand was calibrated: which values it goes by, how the plan says so, and that none of it is lost."""

from __future__ import annotations

import json
from datetime import date
from math import pi, sqrt
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.errors import FileFaultsError
from reelwright.json_text import json_text
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.profiles import build_job, load_job
from reelwright.views.plan import plan_text
from reelwright.winding.plan import make_plan
from winding_jobs import job_tables

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.job import Job

PROFILE = """
[strand.marsh]
diameter_mm = 1.75
material = "PLA"

[strand.marsh.calibration]
date = "2031-05-04"
method = "all measurements together"
readings = 3
found = ["rise", "diameter"]
diameter_mm = 1.742
diameter_u_mm = 0.004
rise = 0.941
rise_u = 0.006
density_g_cm3 = 1.251
density_u_g_cm3 = 0.009
pitch_mm = 1.76
diameter_rise_r = -0.5
diameter_density_r = -0.9
rise_density_r = 0.2
inputs = ["mass: 800 g"]
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A profile folder with one calibrated strand."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    profiles = tmp_path / "home" / "profiles"
    profiles.mkdir(parents=True)
    (profiles / "mine.toml").write_text(PROFILE, encoding="utf-8")
    return profiles


def marsh_job(strand: dict[str, Any] | None = None, **changes: dict[str, Any]) -> Job:
    tables = job_tables(**changes)
    tables["strand"] = {"profile": "marsh"} | (strand or {})
    return build_job(tables)


def test_a_job_goes_by_the_calibration_of_its_strands_profile() -> None:
    job = marsh_job()
    assert (job.strand.diameter_mm, job.strand.diameter_u_mm) == (1.742, 0.004)
    assert (job.strand.density_g_cm3, job.strand.density_u_g_cm3) == (1.251, 0.009)
    assert (job.lay.rise, job.lay.rise_u) == (0.941, 0.006)
    assert job.calibration is not None
    assert job.calibration.figures == ("diameter", "rise", "density")
    assert job.calibration.correlations == (-0.5, -0.9, 0.2)


@pytest.mark.parametrize(
    ("strand", "lay", "figures"),
    [
        ({"diameter_mm": 1.76}, {}, ("rise", "density")),
        ({"diameter_u_mm": 0.01}, {}, ("rise", "density")),
        ({"density_g_cm3": 1.3}, {}, ("diameter", "rise")),
        ({"material": "PETG"}, {}, ("diameter", "rise")),
        ({}, {"rise": "crossing"}, ("diameter", "density")),
        ({}, {"rise": 0.9}, ("diameter", "density")),
    ],
)
def test_what_the_job_says_itself_goes_before_the_calibration(
    strand: dict[str, Any], lay: dict[str, Any], figures: tuple[str, ...]
) -> None:
    job = marsh_job(strand, lay=lay)
    assert job.calibration is not None
    assert job.calibration.figures == figures
    for key, value in strand.items():
        assert getattr(job.strand, key) == value
    if lay:
        assert job.lay.rise == lay["rise"]
    # an error of a value that is not the calibration's has nothing to do with the others
    with_rise, with_density, of_others = job.calibration.correlations
    assert with_rise == (0 if {"diameter", "rise"} - set(figures) else -0.5)
    assert with_density == (0 if {"diameter", "density"} - set(figures) else -0.9)
    assert of_others == (0 if {"rise", "density"} - set(figures) else 0.2)


def test_a_job_that_says_everything_itself_names_no_calibration() -> None:
    job = marsh_job({"diameter_mm": 1.76, "density_g_cm3": 1.3}, lay={"rise": 0.9})
    assert job.calibration is None
    assert make_plan(job).to_dict()["calibration"] is None
    assert "Calibration" not in plan_text(make_plan(job))


def test_the_plan_names_the_calibration_in_text_and_json() -> None:
    plan = make_plan(marsh_job())
    line = "diameter and rise by all measurements together, 3 values, of 2031-05-04, with the density known then"
    assert line in " ".join(plan_text(plan).split())
    assert plan.to_dict()["calibration"] == {
        "strand": "marsh",
        "method": "all measurements together",
        "date": "2031-05-04",
        "readings": 3,
        "figures": ["diameter", "rise", "density"],
        "found": ["rise", "diameter"],
        "pitch_mm": 1.76,
    }


def test_the_plans_error_bars_know_what_the_figures_have_in_common() -> None:
    plan, strand = make_plan(marsh_job()), marsh_job().strand
    # JCGM 100, 5.2.2, of mass = density pi/4 d^2 L, with L's part by the coil's own derivatives
    by_radius, by_rise = plan.coil.sensitivities(plan.turns)
    length_mm, section = 1000 * plan.length_m, pi / 4 * strand.diameter_mm**2
    metre_g = 1e-3 * (strand.density_g_cm3 or 0) * section
    lengths = (by_radius / 2 + by_rise * 0.941, by_rise * 1.742, 0.0)
    masses = (
        metre_g * (2 * length_mm / strand.diameter_mm + lengths[0]),
        metre_g * lengths[1],
        1e-3 * section * length_mm,
    )
    u = (0.004, 0.006, 0.009)
    matrix = ((1, -0.5, -0.9), (-0.5, 1, 0.2), (-0.9, 0.2, 1))
    rest = (by_radius / 2 * 0.1) ** 2 + (plan.coil.turn_length_at_mm(plan.turns) * 0.5 / 60) ** 2

    def variance(slopes: tuple[float, ...], further: float) -> float:
        pairs = [(row, column) for row in range(3) for column in range(3)]
        together = sum(slopes[i] * slopes[j] * u[i] * u[j] * matrix[i][j] for i, j in pairs)
        return together + further

    assert 1000 * plan.length_u_m == pytest.approx(sqrt(variance(lengths, rest)), rel=1e-9)
    assert plan.mass_u_g == pytest.approx(sqrt(variance(masses, rest * metre_g**2)), rel=1e-9)
    assert sum(plan.length.shares.values()) == pytest.approx(1)


def test_a_job_carries_its_calibration_through_data_and_ledger_unchanged(tmp_path: Path) -> None:
    job = marsh_job()
    assert build_job(job.to_dict()) == job
    assert build_job(json.loads(json_text(job.to_dict()))) == job
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.open_wind(7, job=job.to_dict(), plan={}, port="", board="", firmware="", protocol="", boot=1)
        kept = ledger.find(7)
    assert kept is not None
    assert build_job(kept.job) == job


def test_a_carried_calibration_stays_what_it_was_when_the_profile_changes(folder: Path) -> None:
    kept = marsh_job().to_dict()
    (folder / "mine.toml").write_text(PROFILE.replace("1.742", "1.733"), encoding="utf-8")
    assert build_job(kept).strand.diameter_mm == 1.742
    assert marsh_job().strand.diameter_mm == 1.733


def written(job: Job, path: Path) -> Path:
    """The job's data as the TOML file that a person might keep."""
    lines = []
    for name, table in job.to_dict().items():
        assert isinstance(table, dict)
        lines += [f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in table.items())]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("over", "figures"),
    [
        ({"lay": {"rise": 0.9}}, ("diameter", "density")),
        ({"strand": {"diameter_mm": 1.7}}, ("rise", "density")),
        ({"target": {"length_m": 50}}, ("diameter", "rise", "density")),
    ],
)
def test_options_over_a_carried_job_take_figures_from_its_calibration(
    tmp_path: Path, over: dict[str, Any], figures: tuple[str, ...]
) -> None:
    job = load_job(written(marsh_job(), tmp_path / "kept.toml"), over)
    assert job.calibration is not None
    assert job.calibration.figures == figures


def test_another_strand_over_a_carried_job_brings_nothing_of_the_old_one(tmp_path: Path) -> None:
    job = load_job(written(marsh_job(), tmp_path / "kept.toml"), {"strand": {"profile": "petg-1.75"}})
    assert job.calibration is None
    assert job.lay.rise == "crossing"
    assert (job.strand.diameter_mm, job.strand.diameter_u_mm, job.strand.density_g_cm3) == (1.75, 0.02, 1.27)


def test_a_pitch_a_few_percent_off_is_warned_of_and_a_small_difference_is_not() -> None:
    near = make_plan(marsh_job(machine={"stroke_mm": 1.76 * 34.8 * 1.025}))
    assert "calibration_pitch" not in [finding.code for finding in near.findings]
    off = make_plan(marsh_job(machine={"stroke_mm": 1.76 * 34.8 * 0.95}))
    (warning,) = [finding for finding in off.findings if finding.code == "calibration_pitch"]
    assert "measured at a lay pitch of 1.760 mm, and this job has 1.672 mm" in warning.message
    assert (warning.value, warning.limit, warning.unit) == (pytest.approx(5, abs=0.01), 3, "%")
    assert not warning.blocks
    own_rise = make_plan(marsh_job(machine={"stroke_mm": 1.76 * 34.8 * 0.95}, lay={"rise": 0.95}))
    assert "calibration_pitch" not in [finding.code for finding in own_rise.findings]


def test_oval_strand_replaces_both_diameters_of_the_profile(folder: Path) -> None:
    oval = PROFILE.replace("diameter_mm = 1.742\n", "diameter_mm = 1.76\nsecond_diameter_mm = 1.72\n", 1)
    (folder / "mine.toml").write_text(oval, encoding="utf-8")
    assert marsh_job().strand.mean_diameter_mm == pytest.approx(1.74)
    # the calibration found it round, whatever the label said
    round_now = PROFILE.replace("diameter_mm = 1.75\n", "diameter_mm = 1.75\nsecond_diameter_mm = 1.7\n", 1)
    (folder / "mine.toml").write_text(round_now, encoding="utf-8")
    assert marsh_job().strand.second_diameter_mm is None


@pytest.mark.parametrize(
    ("wrong", "path", "words"),
    [
        ("rise = 7.0", "lay.rise", 'from the calibration of the strand profile "marsh"'),
        ("rise_u = true", "lay.rise_u", "true is not a number"),
        ("diameter_rise_r = -1.5", "calibration.diameter_rise_r", "out of range"),
        ("rise_density_r = -0.9", "calibration.rise_density_r", "no three figures"),
        ('methd = "x"', "calibration.methd", 'did you mean "method"?'),
    ],
)
def test_a_calibration_that_was_spoilt_by_hand_is_told_with_its_place(
    folder: Path, wrong: str, path: str, words: str
) -> None:
    key = wrong.split(" = ")[0]
    lines = [line for line in PROFILE.splitlines() if not line.startswith(f"{key} ")]
    (folder / "mine.toml").write_text("\n".join([*lines, wrong]), encoding="utf-8")
    with pytest.raises(FileFaultsError) as refusal:
        marsh_job()
    told = {fault.path: fault.message for fault in refusal.value.faults}
    assert words in told[path]


def test_figures_that_are_none_are_told(tmp_path: Path) -> None:
    text = written(marsh_job(), tmp_path / "kept.toml").read_text(encoding="utf-8")
    (tmp_path / "kept.toml").write_text(text.replace('"density"]', '["density"]]', 1), encoding="utf-8")
    with pytest.raises(FileFaultsError, match=r"calibration\.figures"):
        load_job(tmp_path / "kept.toml", {"lay": {"rise": 0.9}})


def test_a_calibration_that_is_no_table_is_told(folder: Path) -> None:
    (folder / "mine.toml").write_text(f'[strand.marsh]\ndiameter_mm = 1.75\ncalibration = "{date(2031, 5, 4)}"\n')
    with pytest.raises(FileFaultsError, match="is not a table; calibrate it again"):
        marsh_job()
