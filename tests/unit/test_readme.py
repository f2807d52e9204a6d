"""What the README tells a newcomer to type is what works."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import attrs
import click
import pytest
from click.testing import CliRunner

from calibrate_shell import keep_in_ledger
from reelwright.cli import COMMANDS, main
from reelwright.errors import UsageError
from reelwright.machines import load_machine_file
from reelwright.machines.boards import boards
from reelwright.profiles import build_job, load_job, profile_names
from reelwright.winding.cut_list import CutRules, Wanted
from reelwright.winding.job import Calibration, Job, Lay, Machine, PayOff, Strand, TakeUp, Target
from reelwright.winding.plan import make_plan
from tables.limits import updated
from windlink.pins import KEYS, ROLES

ROOT = Path(__file__).resolve().parents[2]
TABLES = {
    "take_up": TakeUp,
    "strand": Strand,
    "machine": Machine,
    "target": Target,
    "lay": Lay,
    "pay_off": PayOff,
    "calibration": Calibration,
}
STRAND = {"strand": {"profile": "reed"}}
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_job_of_the_first_wind_is_sound_and_has_nothing_to_warn_of(tmp_path: Path) -> None:
    job_file = tmp_path / "coil.toml"
    job_file.write_text(re.search(r"```toml\n(.*?)```", README, re.DOTALL).group(1))
    plan = make_plan(load_job(job_file))
    assert plan.length_m == 40
    assert [finding.code for finding in plan.findings] == []
    assert [kind for _, kind in plan.stops] == ["layer"]


def test_no_line_of_help_is_cut_and_every_option_has_one() -> None:
    for name in COMMANDS:
        command = main.get_command(click.Context(main), name)
        assert command is not None
        within = list(command.commands.values()) if isinstance(command, click.Group) else []
        assert [each.name for each in within if each.get_short_help_str(65).endswith("...")] == []
        for each in (command, *within):
            options = [option for option in each.params if isinstance(option, click.Option)]
            assert [option.name for option in options if not option.help] == []


def test_what_forbids_a_wind_stands_where_the_readme_says() -> None:
    assert "in JSON `blocking` lists the codes" in README
    tables = {"take_up": {"spool": "sample"}, "machine": {"profile": "narrow-dc"}, "target": {"length_m": 80}}
    record = make_plan(build_job(tables | {"strand": {"profile": "pla-1.75"}})).to_dict()
    assert record["blocking"] == ["over_flange"]


def test_the_ci_runs_the_test_command_word_for_word() -> None:
    command = next(line.strip() for line in README.splitlines() if line.endswith("-m pytest"))
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_command_and_option_that_it_names_exists() -> None:
    used = re.findall(r"^ +reelwright (\w+)(.*)$", README, re.MULTILINE)
    assert {name for name, _ in used} >= {"plan", "simulate", "wind"}
    for name, rest in used:
        assert name in COMMANDS
        command = main.get_command(click.Context(main), name)
        within = rest.split()[:1] if isinstance(command, click.Group) else []
        help_text = CliRunner().invoke(main, [name, *within, "--help"]).output
        for option in re.findall(r"--[a-z-]+", rest):
            assert option in help_text, (name, option)


def block_after(words: str) -> str:
    """The first TOML that stands behind these words."""
    return str(re.findall(r"```toml\n(.*?)```", README.split(words)[1], re.DOTALL)[0])


# those that ask a question; a wind needs a winder, and a wind of the ledger one that was wound
@pytest.mark.parametrize(
    "command",
    re.findall(r"^    reelwright ((?:plan|gears|split) .*)$", README, re.MULTILINE)
    + re.findall(r"`reelwright (calibrate diameter .*?)`", README),
)
def test_a_command_that_asks_ends_well(command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "coil.toml").write_text(block_after("## A first wind"), encoding="utf-8")
    (tmp_path / "list.toml").write_text(block_after("## Split"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    ended = CliRunner().invoke(main, shlex.split(command), catch_exceptions=False, standalone_mode=False)
    assert ended.exit_code == 0, ended.output


def test_the_gears_at_hand_that_readme_and_help_show_make_a_train_for_the_readmes_winder() -> None:
    first = next(line.strip() for line in README.splitlines() if line.startswith("    reelwright gears find "))
    bench = shlex.split(first.removeprefix("reelwright "))
    told = README + CliRunner().invoke(main, ["gears", "find", "--help"], terminal_width=120).output
    shown = re.findall(r"--have (\d[\d,]*\d)|such as (\d+,\d+,[\d,]*\d)", told)
    assert len(shown) == 2
    for teeth in {readme or helped for readme, helped in shown}:
        ended = CliRunner().invoke(main, [*bench, "--have", teeth], catch_exceptions=False, standalone_mode=False)
        assert (ended.exit_code, "1 shown" in ended.output) == (0, True), ended.output


@pytest.mark.parametrize(("table", "kind"), [("[cut]", CutRules), ("[[wanted]]", Wanted)])
def test_the_cut_list_names_every_key(table: str, kind: type) -> None:
    written = re.split(r"^\[", block_after("## Split").split(table)[1], flags=re.MULTILINE)[0]
    assert {key.name for key in attrs.fields(kind)} <= set(re.findall(r"\w+", written))


def test_every_way_to_calibrate_that_it_names_exists_with_its_options() -> None:
    used = re.findall(r"`reelwright calibrate (\w+)([^`]*)`", README)
    assert {name for name, _ in used} == {"diameter", "layers", "weight", "together"}
    for name, rest in used:
        help_text = CliRunner().invoke(main, ["calibrate", name, "--help"]).output
        for option in re.findall(r"--[a-z-]+", rest):
            assert option in help_text, (name, option)


def test_the_calibrations_that_it_shows_fit_its_first_wind_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    job_file = tmp_path / "coil.toml"
    job_file.write_text(block_after("## A first wind"), encoding="utf-8")
    plan = make_plan(load_job(job_file))
    keep_in_ledger(7, plan)
    answers = {}
    for command in re.findall(r"`reelwright (calibrate \w+ [^`]*mm[^`]*|calibrate weight -[^`]*)`", README):
        arguments = [*shlex.split(command.replace("NUMBER", "7")), "--json"]
        ended = CliRunner().invoke(main, arguments, catch_exceptions=False, standalone_mode=False)
        answers[arguments[1]] = json.loads(ended.stdout)
    assert set(answers) == {"diameter", "layers", "weight", "together"}
    for way, answer in answers.items():
        assert answer["consistent"] in (None, True), way
        assert not any(each["stands_out"] for each in answer["measurements"]), way
        assert not any(each["stands_out"] or each["less_sure"] for each in answer["changes"]), way
    # its caliper goes over the last full layer of that wind, and what is then known foretells it better
    layer = next(each for each in answers["together"]["measurements"] if each["unit"] == "mm")
    assert layer["name"] == f"outer diameter over layer {plan.full_layers}"
    tables = plan.job.to_dict()
    again = make_plan(build_job({key: tables[key] for key in ("take_up", "machine", "target")} | STRAND))
    assert again.length_u_m < plan.length_u_m / 2


def test_a_wind_of_an_agreed_count_is_calibrated_from_with_the_option_that_it_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    job_file = tmp_path / "coil.toml"
    job_file.write_text(block_after("## A first wind"), encoding="utf-8")
    keep_in_ledger(7, make_plan(load_job(job_file)), count_known=False, uncertain_turns=3.0, agreed_within_turns=3.0)
    calibrate = README.split("## Calibrate")[1].split("\n## ")[0]
    (given,) = re.findall(r"an agreed one too, needs .*?`(--turns \d+)`", calibrate, re.DOTALL)
    command = next(each for each in re.findall(r"`reelwright (calibrate weight -[^`]*)`", calibrate))
    words = shlex.split(command.replace("NUMBER", "7"))
    with pytest.raises(UsageError, match="not known for certain"):
        CliRunner().invoke(main, words, catch_exceptions=False, standalone_mode=False)
    ended = CliRunner().invoke(main, [*words, *given.split()], catch_exceptions=False, standalone_mode=False)
    assert ended.exit_code == 0, ended.output


def test_every_file_that_it_points_to_exists() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_demo_jobs_plan_warns_of_nothing(tmp_path: Path) -> None:
    from reelwright.cli.demo import JOB

    job_file = tmp_path / "demo.toml"
    job_file.write_text(JOB)
    assert [finding.code for finding in make_plan(load_job(job_file)).findings] == []


def test_its_machine_file_passes_and_names_every_role_and_key(tmp_path: Path) -> None:
    block = re.findall(r"```toml\n(.*?)```", README.split("## Put it on a board")[1], re.DOTALL)[0]
    machine_file = tmp_path / "shed.toml"
    machine_file.write_text(block.replace('active_low = ["go_button"]', ""), encoding="utf-8")
    assert load_machine_file(machine_file).notes == ()
    named = set(re.findall(r"\w+", block))
    assert {role.name for role in ROLES} | {key.name for key in KEYS} <= named
    assert all(f'"{kind}"' in block for kind in boards())


def test_the_reference_of_the_job_file_names_every_key_and_no_other() -> None:
    block = re.findall(r"```toml\n(.*?)```", README.split("## The job file")[1], re.DOTALL)[0]
    written: dict[str, set[str]] = {}
    table = ""
    for line in block.splitlines():
        if found := re.match(r"\[(\w+)\]", line):
            table = found.group(1)
        written.setdefault(table, set()).update(re.findall(r"\b([a-z]+(?:_[a-z0-9]+)*)\b", line))
    for each in attrs.fields(Job):
        keys = {key.name for key in attrs.fields(TABLES[each.name])}
        assert keys <= written[each.name], (each.name, keys - written[each.name])


def test_the_table_of_limits_is_the_one_that_the_plan_goes_by() -> None:
    assert updated(README) == README, "out of date: run `python tests/tables/limits.py`"


def test_the_profiles_that_it_names_are_the_ones_that_come_along() -> None:
    paragraph = README.split("Profiles that come along:")[1].split("They are invented")[0]
    named = set(re.findall(r"`([^`]+)`", paragraph))
    for kind in ("spool", "machine"):
        assert set(profile_names(kind)) <= named, kind
    assert named <= {name for kind in ("spool", "machine", "strand") for name in profile_names(kind)}
