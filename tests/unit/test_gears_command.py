"""`reelwright gears` as a maker and as a script see it."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result

from processes import reelwright
from reelwright.cli.gears import command
from reelwright.errors import FileFaultsError, UsageError
from reelwright.profiles import load_part

if TYPE_CHECKING:
    from pathlib import Path

BENCH = ("--machine", "bench-dc", "--spool", "kilo", "--diameter", "1.75mm")
JOB = """
[take_up]
barrel_diameter_mm = 64.0
flange_diameter_mm = 105.0
inside_width_mm = 39.5

[strand]
diameter_mm = 1.74

[machine]
gears = [[20, 36], [18, 30]]
screw_turns_per_pass = 7
pulses_per_turn = 20

[target]
length_m = 10
"""


pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program


@pytest.fixture
def job_file(tmp_path: Path) -> str:
    path = tmp_path / "coil.toml"
    path.write_text(JOB, encoding="utf-8")
    return str(path)


def gears(*arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def answer(*arguments: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(gears(*arguments, "--json").stdout)
    return told


def faults(*arguments: str) -> dict[str, str]:
    with pytest.raises(FileFaultsError) as refusal:
        gears(*arguments)
    return {fault.path: fault.message for fault in refusal.value.faults}


def test_a_train_from_options_is_looked_at_from_all_sides() -> None:
    told = answer("check", "--gears", "10:58,10:30", "--screw-turns", "2", "--stroke", "61.25mm")
    assert told["ratio"] == "87/5"
    assert told["turns_per_layer"] == "174/5"
    assert [mesh["centre_distance_mm"] for mesh in told["meshes"]] == [34, 20]
    assert [lay["verdict"] for lay in told["lays"]] == ["good", "climbs"]
    assert [lay["strand_diameter_mm"] for lay in told["lays"]] == [1.75, 2.85]
    assert told["lays"][0]["lay_pitch_mm"] == pytest.approx(61.25 / 34.8)
    assert told["screw_turns_same_way"] is True
    assert [warning["code"] for warning in told["warnings"]] == [
        "undercut",
        "undercut",
        "shaft_in_the_way",
        "pitch_tight",
    ]


def test_a_machine_and_a_spool_give_gears_and_stroke() -> None:
    told = answer("check", "--machine", "bench-dc", "--spool", "kilo")
    width = load_part("take_up", "kilo").inside_width_mm
    assert told["gears"] == [[10, 58], [10, 30]]
    assert [lay["stroke_mm"] for lay in told["lays"]] == [width - 1.75, width - 2.85]


@pytest.mark.parametrize("way", [["check"], ["find", "--tolerance", "9"]])
def test_the_machine_may_be_that_of_a_job_file_as_for_a_checkup(job_file: str, tmp_path: Path, way: list[str]) -> None:
    of_job = answer(*way, job_file, "--spool", "kilo", "--diameter", "1.75mm")
    of_machine = answer(*way, "--machine", job_file, "--spool", "kilo", "--diameter", "1.75mm")
    assert of_machine == of_job
    with pytest.raises(UsageError, match=r"none\.toml"):
        gears(*way, "--machine", str(tmp_path / "none.toml"))


def test_a_job_gives_gears_strand_and_stroke(job_file: str) -> None:
    told = answer("check", job_file)
    assert told["gears"] == [[20, 36], [18, 30]]
    assert [(lay["strand_diameter_mm"], lay["stroke_mm"]) for lay in told["lays"]] == [(1.74, 37.76)]
    assert told["lays"][0]["verdict"] == "good"


def test_an_option_goes_before_a_profile_and_that_before_the_job(job_file: str) -> None:
    assert answer("check", job_file, "--machine", "bench-dc")["gears"] == [[10, 58], [10, 30]]
    told = answer(
        "check", job_file, "--gears", "18:36", "--stroke", "40mm", "--diameter", "2.5mm", "--screw-turns", "8"
    )
    assert told["turns_per_layer"] == "16"
    assert [lay["lay_pitch_mm"] for lay in told["lays"]] == [2.5]


def test_strands_may_be_named_and_given_together() -> None:
    told = answer(
        "check", "--machine", "bench-dc", "--stroke", "61.25mm", "--strand", "pla-2.85", "--diameter", "1.75mm",
        "--diameter", "1mm",
    )  # fmt: skip
    assert [lay["strand_diameter_mm"] for lay in told["lays"]] == [2.85, 1.75, 1]


def test_without_a_stroke_the_teeth_are_looked_at_all_the_same() -> None:
    assert answer("check", "--machine", "bench-dc")["lays"] == []
    assert "give --stroke" in gears("check", "--machine", "bench-dc").stdout


def test_the_table_tells_hands_and_thrust_of_helical_gears() -> None:
    shown = gears("check", "--gears", "20:50,20:50", "--screw-turns", "4", "--helix-angle", "20").stdout
    for words in (
        "Helical gears, module 1 mm",
        "right",
        "left",
        "36%",
        "oppose each other",
        "the screw can stand on the spool's axis",
    ):
        assert words in shown.replace("\n", " ")


def test_the_table_tells_that_herringbone_halves_are_mirrored() -> None:
    options = ["--gears", "20:50", "--screw-turns", "4", "--helix-angle", "30", "--herringbone"]
    shown = " ".join(gears("check", *options).stdout.split())
    assert "right/left" in shown
    assert "left/right" in shown
    assert "no shaft is pushed along" in shown
    assert "against the spool" in shown


def test_a_train_that_should_be_coaxial_and_is_not_is_told() -> None:
    told = answer("check", "--gears", "20:50,30:41", "--screw-turns", "2", "--coaxial")
    assert [warning["code"] for warning in told["warnings"]] == ["not_coaxial"]


def test_found_trains_are_ranked_and_have_the_pitch_that_they_are_said_to_have() -> None:
    told = answer("find", "--machine", "bench-dc", "--spool", "kilo", "--strand", "pla-1.75")
    stroke, wanted = Fraction("61.25"), Fraction("1.79")
    assert told["wanted_pitch_mm"] == float(wanted)
    assert len(told["trains"]) == 10
    ranks = []
    for train in told["trains"]:
        pitch = stroke / Fraction(train["turns_per_layer"])
        assert train["lay_pitch_mm"] == float(pitch)
        ranks.append((int(abs(pitch - wanted) / wanted * 1000), train["total_teeth"], train["gear_count"]))
        assert all(teeth >= 18 for stage in train["gears"] for teeth in stage)
    assert ranks == sorted(ranks)


def test_a_job_asks_for_its_own_strand_and_stroke(job_file: str) -> None:
    told = answer("find", job_file, "--limit", "3")
    assert (told["stroke_mm"], told["strand_diameter_mm"], told["wanted_pitch_mm"]) == (37.76, 1.74, 1.78)
    assert len(told["trains"]) == 3
    assert all(abs(train["pitch_error_percent"]) <= 1 for train in told["trains"])


def test_turns_that_the_guide_stands_still_lay_nothing() -> None:
    given = ("--stroke", "60mm", "--screw-turns", "2", "--dwell-turns", "1/2", "--diameter", "1.75mm")
    checked = answer("check", "--gears", "20:100,20:61", *given)
    assert checked["lays"][0]["lay_pitch_mm"] == pytest.approx(60 / (30.5 - 0.5))
    found = answer("find", *given)
    for train in found["trains"]:
        assert train["lay_pitch_mm"] == pytest.approx(60 / (float(Fraction(train["turns_per_layer"])) - 0.5))
    assert "stands at the flange: 1/2 = 0.5" in gears("check", "--gears", "20:100,20:61", *given).stdout.replace(
        "\n", " "
    )
    assert "0.5 of dwell" in gears("find", *given).stdout.replace("\n", " ")


def test_gears_at_hand_are_used_once_each() -> None:
    at_hand = [12, 20, 30, 45, 58]
    told = answer(
        "find", "--have", "12,20,30,45,58", "--pitch", "1.8mm", "--stroke", "52mm", "--screw-turns", "4",
        "--tolerance", "5",
    )  # fmt: skip
    assert told["trains_in_reach"] == 5 * 4 + 30  # simple, and two pairs of five gears, drivers and driven
    assert told["trains"]
    for train in told["trains"]:
        used = [teeth for stage in train["gears"] for teeth in stage]
        assert len(set(used)) == len(used)
        assert set(used) <= set(at_hand)


def test_a_coaxial_search_keeps_the_centre_distances_equal() -> None:
    told = answer("find", "--diameter", "1.75mm", "--stroke", "61.25mm", "--screw-turns", "2", "--coaxial")
    assert told["trains"]
    for train in told["trains"]:
        assert train["coaxial"]
        assert len({mesh["centre_distance_mm"] for mesh in train["meshes"]}) == 1


def test_a_helix_lets_the_search_begin_with_fewer_teeth() -> None:
    told = answer("find", "--diameter", "1.75mm", "--stroke", "61.25mm", "--screw-turns", "2", "--helix-angle", "30")
    assert told["least_teeth"] == 12
    assert min(teeth for train in told["trains"] for stage in train["gears"] for teeth in stage) == 12


def test_the_table_of_trains_ends_with_what_to_write_into_a_job() -> None:
    shown = gears("find", "--diameter", "1.75mm", "--stroke", "61.25mm", "--screw-turns", "2").stdout
    assert "gears = [[18, 72], [18, 77]]" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())
    for words in ("No         Gears      mm      %  Teeth            mm", "1 of 2", "same way"):
        assert words in shown


def test_where_nothing_is_near_enough_the_nearest_is_told() -> None:
    with pytest.raises(UsageError) as refusal:
        gears("find", "--diameter", "1.75mm", "--stroke", "61.25mm", "--screw-turns", "2", "--most-teeth", "40")
    assert "the nearest is 18:40,18:40 with 6.2016 mm, 246 % off" in refusal.value.message
    assert "--tolerance" not in refusal.value.remedy  # the strand lies with gaps, whatever is tolerated
    assert "Allow other teeth" in refusal.value.remedy


def test_where_every_train_climbs_that_is_told() -> None:
    with pytest.raises(UsageError, match="without climbing"):
        gears(
            "find",
            "--diameter",
            "40mm",
            "--stroke",
            "61mm",
            "--screw-turns",
            "3",
            "--stages",
            "1",
            "--most-teeth",
            "20",
        )


def test_all_that_is_wrong_with_a_check_is_told_at_once() -> None:
    told = faults(
        "check", "--gears", "20:36,18-30,0:7", "--module", "99", "--pressure-angle", "steep", "--herringbone",
        "--stroke", "60", "--diameter", "99mm", "--machine", "bench-dx",
    )  # fmt: skip
    assert set(told) == {
        "--gears", "--module", "--pressure-angle", "--herringbone", "--stroke", "--diameter", "--machine",
    }  # fmt: skip
    assert "at most 50 mm" in told["--module"]
    assert "write 60m" in told["--stroke"]
    assert 'did you mean "bench-dc"?' in told["--machine"]


def test_all_that_is_wrong_with_a_search_is_told_at_once() -> None:
    told = faults(
        "find", "--least-teeth", "50", "--most-teeth", "20", "--stages", "4", "--tolerance", "200", "--limit", "0",
        "--pitch", "1mm", "--diameter", "1.75mm",
    )  # fmt: skip
    assert set(told) == {
        "--screw-turns", "--stroke", "--most-teeth", "--stages", "--tolerance", "--limit", "--pitch",
    }  # fmt: skip
    assert "would climb" in told["--pitch"]


@pytest.mark.parametrize(
    ("arguments", "option", "words"),
    [
        (["check", "--screw-turns", "2"], "--gears", "nothing tells the gears"),
        (["check", "--gears", "20:30"], "--screw-turns", "nothing tells how often"),
        (["check", "--gears", "20:30,", "--screw-turns", "2"], "--gears", "is no stage"),
        (["check", "--gears", "-20:30", "--screw-turns", "2"], "--gears", "-20 is out of range"),
        (["check", "--gears", "20:30", "--screw-turns", "1,5"], "--screw-turns", "comma"),
        (["check", "--gears", "20:30", "--screw-turns", "0"], "--screw-turns", "above 0"),
        (["check", "--gears", "20:30", "--screw-turns", "2", "--helix-angle", "70"], "--helix-angle", "at most 60"),
        (
            ["check", "--gears", "20:30", "--screw-turns", "2", "--dwell-turns", "3"],
            "--dwell-turns",
            "would never travel",
        ),
        (["check", "--gears", "20:30", "--screw-turns", "2", "--dwell-turns", "-1"], "--dwell-turns", "at least 0"),
        (["find", "--stroke", "60mm", "--screw-turns", "2"], "--pitch", "nothing tells the wanted pitch"),
        (["find", "--diameter", "1.75mm", "--screw-turns", "2"], "--stroke", "nothing tells the stroke"),
        (["find", "--pitch", "1.75mm", "--screw-turns", "2", "--spool", "kilo"], "--stroke", "a spool and a strand"),
        (["find", *BENCH, "--have", "20"], "--have", "1 gears"),
        (["find", *BENCH, "--have", "9,x"], "--have", '"x"'),
        (["find", "--machine", "bench-dc", "--spool", "sample", "--diameter", "50mm"], "--spool", "leave no room"),
        (
            ["find", *BENCH, "--strand", "pla-1.75"],
            "--diameter",
            "keep one",
        ),
        (
            ["find", *BENCH, "--pitch", "3mm"],
            "--pitch",
            "with gaps",
        ),
        (
            ["find", *BENCH, "--stages", "3",
             "--least-teeth", "0"],
            "--least-teeth",
            "cannot be",
        ),
        (
            ["find", *BENCH, "--least-teeth", "few"],
            "--least-teeth",
            "no whole number",
        ),
    ],
)  # fmt: skip
def test_each_slip_is_told_by_its_option(arguments: list[str], option: str, words: str) -> None:
    told = faults(*arguments)
    assert list(told) == [option]
    assert words in told[option]


def test_a_machine_without_gears_says_so(tmp_path: Path) -> None:
    folder = tmp_path / "home" / "profiles"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "mine.toml").write_text("[machine.direct]\nturns_per_layer = 30\npulses_per_turn = 5\n", encoding="utf-8")
    assert "turns_per_layer and no gears" in faults("check", "--machine", "direct", "--screw-turns", "2")["--gears"]


def test_a_faulty_profile_is_told_with_its_place(tmp_path: Path) -> None:
    folder = tmp_path / "home" / "profiles"
    folder.mkdir(parents=True, exist_ok=True)
    text = "[machine.worn]\ngears = [[0, 7]]\nscrew_turns_per_pass = 2\npulses_per_turn = 5\n"
    (folder / "mine.toml").write_text(text, encoding="utf-8")
    told = faults("check", "--machine", "worn")
    assert list(told) == ["--machine worn, machine.gears[0][0]"]


def test_a_profile_file_that_cannot_be_read_is_told_by_itself_and_once(tmp_path: Path) -> None:
    file = tmp_path / "home" / "profiles" / "mine.toml"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text("[spool.tub]\nbarrel_diameter_mm == 80\n", encoding="utf-8")
    with pytest.raises(FileFaultsError) as refusal:
        gears("find", *BENCH)
    assert refusal.value.source == str(file)
    assert [fault.path for fault in refusal.value.faults] == ["line 2, column 21"]


@pytest.mark.parametrize("arguments", [["check", "--gears", "x"], ["find", "--have", "x"], ["check", "nowhere.toml"]])
def test_a_slip_ends_with_code_2_and_no_traceback(arguments: list[str]) -> None:
    ended = reelwright("gears", *arguments)
    assert (ended.returncode, ended.stdout) == (2, "")
    assert ended.stderr.startswith("Error: ")
    assert "Traceback" not in ended.stderr


def test_a_terminal_that_knows_only_ascii_still_gets_the_table() -> None:
    ended = reelwright("gears", "check", "--machine", "bench-dc", PYTHONIOENCODING="ascii")
    assert ended.returncode == 0
    assert "20?" in ended.stdout
