"""What the README tells a newcomer to type is what works."""

from __future__ import annotations

import re
from pathlib import Path

from click.testing import CliRunner

from reelwright.cli import COMMANDS, main
from reelwright.profiles import load_job
from reelwright.winding.plan import make_plan

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_job_of_the_first_wind_is_sound_and_has_nothing_to_warn_of(tmp_path: Path) -> None:
    job_file = tmp_path / "coil.toml"
    job_file.write_text(re.search(r"```toml\n(.*?)```", README, re.DOTALL).group(1))
    plan = make_plan(load_job(job_file))
    assert plan.length_m == 40
    assert [finding.code for finding in plan.findings] == []
    assert [kind for _, kind in plan.stops] == ["layer"]


def test_the_ci_runs_the_test_command_word_for_word() -> None:
    command = next(line.strip() for line in README.splitlines() if line.endswith("-m pytest"))
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_command_and_option_that_it_names_exists() -> None:
    used = re.findall(r"^ +reelwright (\w+)(.*)$", README, re.MULTILINE)
    assert {name for name, _ in used} >= {"plan", "simulate", "wind"}
    for name, rest in used:
        assert name in COMMANDS
        help_text = CliRunner().invoke(main, [name, "--help"]).output
        for option in re.findall(r"--[a-z-]+", rest):
            assert option in help_text, (name, option)


def test_every_file_that_it_points_to_exists() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_demo_jobs_plan_warns_of_nothing(tmp_path: Path) -> None:
    from reelwright.cli.demo import JOB

    job_file = tmp_path / "demo.toml"
    job_file.write_text(JOB)
    assert [finding.code for finding in make_plan(load_job(job_file)).findings] == []
