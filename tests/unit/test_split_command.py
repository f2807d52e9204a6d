"""`reelwright split` as a person and as a script see it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from reelwright.cli import COMMANDS
from reelwright.cli.split import command
from reelwright.errors import ReelwrightError, UsageError
from reelwright.profiles import load_job
from reelwright.winding.plan import make_plan

ROOT = Path(__file__).resolve().parents[2]

LIST = """
[strand]
profile = "pla-1.75"
[machine]
turns_per_layer = "49/2"
pulses_per_turn = 60
phase_turns = 10
[take_up]
spool = "quarter-kilo"
[cut]
leader_m = 0.5
tail_m = 0.25
[[pay_off]]
name = "shelf 1"
held_m = 26
held_u_m = 0.5
[[pay_off]]
name = "shelf 2"
held_m = 18.5
held_u_m = 0.25
[[wanted]]
name = "Kit Größe/4"
length_m = 12
count = 2
[[wanted]]
length_m = 14
"""


pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program


def list_file(tmp_path: Path, text: str = LIST) -> str:
    path = tmp_path / "list.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def split(*arguments: str) -> str:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False).stdout


def answer(*arguments: str) -> dict[str, Any]:
    return json.loads(split(*arguments, "--json"))


def refusal(*arguments: str) -> UsageError:
    with pytest.raises(UsageError) as told:
        CliRunner().invoke(command, list(arguments), catch_exceptions=False)
    return told.value


# 12 + 12 + 14 m with their ends are 40.25 m of the 25 + 18 m that are sure: 12.75 + 12.75 and 14.75 m do not pair up
# within 25 and 18 without a join but as 12.75 + 12.75 > 25, 12.75 + 14.75 > 25, so one length must be joined
def test_a_script_gets_every_figure_with_its_unit(tmp_path: Path) -> None:
    told = answer(list_file(tmp_path))
    assert set(told) >= {"joins", "waste_m", "proven", "pay_off", "steps", "files", "best_estimate"}
    assert (told["joins"], told["proven"], told["best_estimate"], told["files"]) == (1, True, False, [])
    # a little less than what they surely hold, for what a wind may take beyond its plan
    for spool, sure_m in zip(told["pay_off"], (25, 18), strict=True):
        assert 0 < sure_m - spool["counted_on_m"] < 0.02
    pieces = [piece for step in told["steps"] for piece in step["pieces"]]
    assert sum(piece["to_m"] - piece["from_m"] for piece in pieces) == pytest.approx(38, abs=1e-9)
    # counted strand, three leaders and tails, and the loss of one join
    assert sum(piece["off_pay_off_m"] for piece in pieces) == pytest.approx(38 + 3 * 0.75 + 0.1, abs=1e-9)
    for spool in told["pay_off"]:
        off = sum(piece["off_pay_off_m"] for piece in pieces if piece["pay_off"] == spool["name"])
        assert spool["used_m"] == pytest.approx(off, abs=1e-9)
        assert spool["left_m"] == pytest.approx(spool["held_m"] - off, abs=1e-9)


def test_a_person_sees_the_spools_the_steps_and_how_sure_it_is(tmp_path: Path) -> None:
    told = split(list_file(tmp_path))
    assert told.startswith("3 lengths: 1 join, ")
    assert "Planned with what can surely be counted off each pay-off spool" in " ".join(told.split())
    assert "26.0 ± 1.0" in told
    assert re.search(r"At \d+\.\d{3} m the winder pauses: join shelf \d on, cutting off 0.1 m, and go on.", told)
    assert "Bring the guide to a flange" in told


def test_a_warning_names_the_lengths_that_it_is_for_unless_it_is_for_all(tmp_path: Path) -> None:
    narrow = '[[wanted]]\nname = "tight"\nlength_m = 2\ncount = 2\ntake_up = "sample"\n'
    told = " ".join(split(list_file(tmp_path, LIST.replace("length_m = 14", "length_m = 4") + narrow)).split())
    assert "Warning (tight_bend) of tight 1, tight 2: The bending strain" in told
    only = LIST[: LIST.index("[[wanted]]")] + narrow
    assert "Warning (tight_bend): The bending strain" in " ".join(split(list_file(tmp_path, only)).split())


def test_the_folder_holds_a_job_for_each_step_that_winds_the_wanted_length(tmp_path: Path) -> None:
    folder = tmp_path / "kits"
    told = split(list_file(tmp_path), "-o", str(folder))
    names = ["01-kit-gr-e-4-1.toml", "02-kit-gr-e-4-2.toml", "03-quarter-kilo.toml"]
    assert sorted(path.name for path in folder.iterdir()) == [*names, "steps.txt"]
    assert [line.split()[-1] for line in told.splitlines()[-3:]] == [str(folder / name) for name in names]
    steps = answer(list_file(tmp_path))["steps"]
    for name, step, length_m in zip(names, steps, (12, 12, 14), strict=True):
        job = load_job(folder / name)
        plan = make_plan(job)
        assert plan.length_m == length_m
        assert plan.blocking == ()
        assert (job.target.leader_m, job.target.tail_m) == (0.5, 0.25)
        # every join is a mark, and the winder pauses there
        assert job.target.marks_m == tuple(piece["to_m"] for piece in step["pieces"][:-1])
        stops = [plan.length_m_at(pulses) for pulses, kind in plan.stops if kind == "mark"]
        assert stops == pytest.approx(job.target.marks_m, abs=0.01)
        if step["joins"]:
            assert job.pay_off is None
        else:
            assert plan.source is not None
            assert plan.source.verdict == "enough"
    # where the guide stands is known before the first step only
    assert [load_job(folder / name).machine.phase_turns for name in names] == [10, None, None]
    told_there = (folder / "steps.txt").read_text(encoding="utf-8")
    assert "Kit Größe/4 1" in told_there
    assert "# At " in "".join((folder / name).read_text(encoding="utf-8") for name in names)


def test_the_second_length_from_a_spool_is_checked_against_what_the_first_left(tmp_path: Path) -> None:
    text = LIST.replace("held_m = 26", "held_m = 41.5").replace("held_m = 18.5", "held_m = 8")
    text = text.replace("length_m = 14", "length_m = 14.2")
    folder = tmp_path / "kits"
    split(list_file(tmp_path, text), "-o", str(folder))
    jobs = [load_job(path) for path in sorted(folder.glob("*.toml"))]
    held = [job.pay_off.held_m for job in jobs if job.pay_off and job.pay_off.name == "shelf 1"]
    # of 40.5 m that it surely holds 12.75 + 12.75 + 14.95 m are taken; each wind leaves it a little less known
    assert held == [41.5, 28.75, 16.0]
    held_u = [job.pay_off.held_u_m for job in jobs if job.pay_off]
    assert 0.5 <= held_u[0] < held_u[1] < held_u[2] < 0.51
    assert [make_plan(job).source.verdict for job in jobs] == ["enough"] * 3
    assert "Warning (source_doubtful)" not in (folder / "steps.txt").read_text(encoding="utf-8")


def test_all_that_a_spool_may_hold_is_counted_on_only_by_the_best_estimate_which_warns(tmp_path: Path) -> None:
    text = f"{LIST.partition('[[pay_off]]')[0]}[[pay_off]]\nheld_m = 26\nheld_u_m = 0\n[[wanted]]\nlength_m = 25.25\n"
    path = list_file(tmp_path, text)
    told = refusal(path)
    assert re.search(r"quarter-kilo: 0\.\d+ m missing of its 25\.25 m", told.message)
    assert re.search(r"^Counted on: pay-off 1 25\.\d+ m of 26\.000 m\. Neither what", told.message, re.MULTILINE)
    (spool,) = answer(path, "--best-estimate")["pay_off"]
    assert (spool["counted_on_m"], spool["used_m"], spool["left_m"]) == (26, 26, 0)
    assert "Warning (source_doubtful)" in split(path, "--best-estimate")
    shorter = answer(list_file(tmp_path, text.replace("25.25", "25.0")))
    assert shorter["steps"][0]["warnings"] == []


def test_a_folder_with_files_is_left_alone_before_anything_is_solved(tmp_path: Path) -> None:
    path = list_file(tmp_path)
    before = set(tmp_path.rglob("*"))
    told = refusal(path, "-o", str(tmp_path))
    assert "nothing is overwritten" in told.message
    assert set(tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    ("changes", "missing", "helps"),
    [
        # joins are not allowed: the second 12 m and the 14 m cannot both be
        ({"[cut]": "[cut]\nmost_joins = 0"}, "m missing of", "most_joins = 1, which meets it"),
        # 43 m are sure, 44.5 m are held; 39 m + 3 x 0.75 m + 0.1 m fit, 41.6 m need the best estimate
        ({"length_m = 14": "length_m = 16.9"}, ": 0.", "--best-estimate, which meets it"),
        ({"length_m = 14": "length_m = 30"}, "quarter-kilo: ", "one more pay-off spool, with at least"),
    ],
)
def test_a_list_that_cannot_be_met_says_what_is_missing_and_what_would_help(
    tmp_path: Path, changes: dict[str, str], missing: str, helps: str
) -> None:
    text = LIST
    for old, new in changes.items():
        text = text.replace(old, new)
    folder = tmp_path / "kits"
    told = refusal(list_file(tmp_path, text), "-o", str(folder))
    assert told.message.startswith("This cut list cannot be met; nothing is written.")
    assert missing in told.message
    assert helps in told.remedy
    assert not folder.exists()


def test_what_is_said_to_help_helps(tmp_path: Path) -> None:
    unjoined = LIST.replace("[cut]", "[cut]\nmost_joins = 0")
    assert "most_joins = 1" in refusal(list_file(tmp_path, unjoined)).remedy
    assert answer(list_file(tmp_path, unjoined.replace("most_joins = 0", "most_joins = 1")))["joins"] == 1
    long = LIST.replace("length_m = 14", "length_m = 16.9")
    told = refusal(list_file(tmp_path, long))
    assert answer(list_file(tmp_path, long), "--best-estimate")["best_estimate"] is True
    further = pasted(told.remedy)
    assert answer(list_file(tmp_path, f"{long}\n{further}"))["proven"]
    held = re.search(r"held_m = ([\d.]+)", further).group(1)
    less = further.replace(held, f"{float(held) - 0.001:.3f}")
    assert "cannot be met" in refusal(list_file(tmp_path, f"{long}\n{less}")).message


def pasted(remedy: str) -> str:
    """The tables that a remedy has for the list, as a person copies them."""
    return "\n".join(line.strip() for line in remedy.splitlines() if line.startswith("    "))


@pytest.mark.parametrize("length_m", ["17.003", "33.337"])
def test_the_further_spool_that_helps_is_told_as_a_table_to_paste(tmp_path: Path, length_m: str) -> None:
    short = LIST.replace("length_m = 12", f"most_joins = 1\nlength_m = {length_m}")
    further = pasted(refusal(list_file(tmp_path, short)).remedy)
    assert further.startswith("[[pay_off]]")
    assert answer(list_file(tmp_path, f"{short}\n{further}"))["steps"]
    trusting = refusal(list_file(tmp_path, short), "--best-estimate").remedy
    assert " of pla-1.75 PLA 1.75 mm on it (held_m" in trusting
    assert "surely" not in trusting
    # as sure as a real one is, what must surely hold stays the same
    held = float(re.search(r"held_m = ([\d.]+)", further).group(1))
    for u in (0.4, 0.037):
        real = further.replace(f"held_m = {held:g}", f"held_m = {held + 2 * u:.3f}").replace("u_m = 0", f"u_m = {u}")
        assert answer(list_file(tmp_path, f"{short}\n{real}"))["steps"]


def test_of_each_strand_that_is_short_a_spool_is_told_that_is_of_its_kind(tmp_path: Path) -> None:
    own = 'strand = {name = "reed \\"blue\\"", material = "PLA", diameter_mm = 1.75}'
    short = LIST + f'[[pay_off]]\nname = "end"\nheld_m = 3\nheld_u_m = 0\n{own}\n'
    short += f"[[wanted]]\nlength_m = 40\n{own}\n[[wanted]]\nlength_m = 41\n"
    told = refusal(list_file(tmp_path, short))
    assert "(of the further spools, all)" in told.remedy
    assert answer(list_file(tmp_path, f"{short}\n{pasted(told.remedy)}"))["steps"]


def test_lengths_that_get_no_strand_at_all_are_told_together(tmp_path: Path) -> None:
    short = LIST.replace("count = 2", "count = 11").replace("[cut]", "[cut]\nmost_joins = 0")
    lines = refusal(list_file(tmp_path, short)).message.splitlines()
    assert re.fullmatch(r"\d+ of its 12 lengths cannot be wound whole:", lines[1])
    assert re.fullmatch(
        r"  (Kit Größe/4 \d+, ){5}Kit Größe/4 \d+ and \d+ more: no strand .* them, 12 m each", lines[-3]
    )


def test_a_best_estimate_is_told_as_one_and_its_jobs_warn(tmp_path: Path) -> None:
    text = LIST.replace("length_m = 14", "length_m = 17.2").replace("count = 2", "")
    folder = tmp_path / "kits"
    assert "may run out" in split(list_file(tmp_path, text), "--best-estimate", "-o", str(folder))
    verdicts = [make_plan(load_job(path)).source.verdict for path in sorted(folder.glob("*.toml"))]
    assert set(verdicts) <= {"enough", "doubtful"}


def test_joins_too_close_for_the_sensor_are_refused(tmp_path: Path) -> None:
    text = (
        LIST.replace("pulses_per_turn = 60", 'pulses_per_turn = 1\nsensor_shaft = "crank"\n'
                     'shaft_turns_per_spool_turn = "1/9"')
        .replace("[cut]", "[cut]\nshortest_piece_m = 0.1")
        .replace("held_m = 26", "held_m = 14.8")
        .replace("held_u_m = 0.5", "held_u_m = 0")
        .replace("held_m = 18.5", "held_m = 0.6")
        .replace("held_u_m = 0.25", "held_u_m = 0")
        .replace("count = 2", "")
        .replace("length_m = 12", "length_m = 14.3")
        .partition("[[wanted]]\nlength_m = 14\n")[0]
    )  # fmt: skip
    told = refusal(list_file(tmp_path, text), "--best-estimate")
    assert "cannot pause at each" in told.message


@pytest.mark.parametrize("package", ["scipy", "numpy"])
def test_without_the_extra_the_command_to_install_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    for name in [each for each in sys.modules if each.split(".")[0] == package]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, package, None)
    folder = tmp_path / "kits"
    with pytest.raises(ReelwrightError) as told:
        CliRunner().invoke(command, [list_file(tmp_path), "-o", str(folder)], catch_exceptions=False)
    assert package in told.value.message
    assert told.value.remedy == "In the project's folder: python -m pip install '.[split]'"
    assert "python -m pip install '.[split]'" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert not folder.exists()


def test_time_runs_out_with_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import scipy.optimize

    nothing = scipy.optimize.OptimizeResult(status=1, x=None)
    monkeypatch.setattr(scipy.optimize, "milp", lambda *_, **__: nothing)
    told = refusal(list_file(tmp_path), "--seconds", "7")
    assert "within 7 s" in told.message
    assert "--seconds" in told.remedy


def test_an_answer_that_is_not_proven_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import scipy.optimize

    whole = scipy.optimize.milp

    def hurried(*arguments: Any, **options: Any) -> Any:
        result = whole(*arguments, **options)
        if result.status == 0:
            result.status = 1
        return result

    monkeypatch.setattr(scipy.optimize, "milp", hurried)
    assert "not proven the best" in split(list_file(tmp_path))
    assert answer(list_file(tmp_path))["proven"] is False


def test_the_readmes_list_is_sound(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.partition("## Split")[2]
    text = re.search(r"```toml\n(.*?)```", section, re.DOTALL).group(1)
    folder = tmp_path / "kits"
    split(list_file(tmp_path, text), "-o", str(folder))
    plans = [make_plan(load_job(path)) for path in sorted(folder.glob("*.toml"))]
    assert len(plans) == 3
    # a list stands in one line, as a person writes it
    assert "\ngears = [[10, 49], [10, 25]]\n" in next(folder.glob("01*")).read_text(encoding="utf-8")
    assert [finding.code for plan in plans for finding in plan.findings] == []


def test_the_command_is_among_the_others() -> None:
    assert COMMANDS["split"][0] == "reelwright.cli.split"


ALOUD = """
import ctypes, sys
from reelwright.cli import run
from reelwright.winding import cut_solver

def aloud(problem, seconds, cut=cut_solver.cut):
    ctypes.CDLL("ucrtbase" if sys.platform == "win32" else None).printf(b"solver: a line of its own\\n")
    return cut(problem, seconds)

cut_solver.cut = aloud
run()
"""


def test_what_the_solver_prints_by_itself_stays_out_of_the_answer(tmp_path: Path) -> None:
    """Compiled code prints past sys.stdout, and into a pipe only once the program ends."""
    done = subprocess.run(
        [sys.executable, "-c", ALOUD, "split", list_file(tmp_path), "--json"],
        capture_output=True,
        text=True,
        timeout=60,
        env={name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"},
        check=False,
    )
    assert done.returncode == 0
    assert len([json.loads(line) for line in done.stdout.splitlines()]) == 1
    assert "a line of its own" in done.stderr
