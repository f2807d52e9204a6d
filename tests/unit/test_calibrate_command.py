"""`reelwright calibrate` as a person and as a script see it."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

import pytest
from attrs import fields

from calibrate_shell import (
    BENCH,
    LONG_WIND,
    READINGS,
    answer_of,
    bench_plan,
    calibrate,
    keep_in_ledger,
    measurement_file,
    own_home,
    stored,
)
from imports_of_a_plan import loaded_by_a_plan
from processes import reelwright
from reelwright.errors import FileFaultsError, UsageError
from reelwright.profiles import build_job
from reelwright.profiles.measurements import MicrometerReadings, WindMeasurements, read_measurements
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path


home = pytest.fixture(autouse=True)(own_home)


def test_the_distance_that_is_told_is_the_one_that_the_table_shows_and_beyond_the_limit() -> None:
    layers = ["2:84.6mm", "5:98mm", "8:104mm", "11:120mm", "14:124mm"]
    shown = calibrate("layers", *layers, "--barrel", "80mm", "--strand", "pla-1.75").stdout
    told = re.findall(r"measurement (\d), .* it lies (\d+\.\d) times its uncertainty off, more than 3\.5", shown)
    assert len(told) >= 2
    for number, off in told:
        assert float(off) > 3.5
        assert re.search(rf"^ *{number}  .*[+-]{re.escape(off)}$", shown, re.MULTILINE), (number, off)


def test_a_swapped_pair_is_told_to_be_swapped() -> None:
    shown = calibrate("diameter", "1.76mm/1.72mm", "1.76mm/1.72mm", "1.72mm/1.76mm", "1.76mm/1.73mm").stdout
    assert "measurement 3, mean of two diameters 1.74 mm, stands out" in shown
    assert "narrow before wide: swap them" in shown


def test_readings_of_another_size_than_the_strands_are_asked_about() -> None:
    thick = ["diameter", *READINGS, "--strand", "pla-2.85"]
    question = "Is this another strand? The one measured has 1.74 mm, and the one named had 2.85 mm. Name the one"
    assert calibrate(*thick).stdout.splitlines()[1].startswith(question)
    with pytest.raises(UsageError) as refusal:
        calibrate(*thick, "--save", "marsh")
    assert refusal.value.message.startswith(question)
    calibrate(*thick, "--save", "fen", "--keep", "diameter")
    kept = calibrate("diameter", "2.84mm", "2.86mm", "2.85mm", "--strand", "pla-2.85").stdout
    assert "another strand" not in kept
    with pytest.raises(UsageError, match=r'has 2\.85 mm, and the strand profile "fen" has 1\.74 mm'):
        calibrate("diameter", "2.84mm", "2.86mm", "2.85mm", "--strand", "pla-2.85", "--save", "fen")
    # worn or drawn thin, but the same size
    assert "another strand" not in calibrate("diameter", "1.6mm", "1.61mm", "1.6mm", "--strand", "pla-1.75").stdout


THICK = {
    "take_up": {"spool": "kilo"},
    "machine": {"turns_per_layer": "20", "pulses_per_turn": 60},
    "strand": {"profile": "pla-2.85"},
    "target": {"turns": 200},
}


def test_a_weighed_wind_of_another_strand_than_the_one_named_is_asked_about_whatever_is_solved() -> None:
    thin, thick = bench_plan(**LONG_WIND), make_plan(build_job(THICK))
    keep_in_ledger(7, thin)
    keep_in_ledger(8, thick)
    for number, plan, other, mm in (("7", thin, "pla-2.85", "2.85"), ("8", thick, "pla-1.75", "1.75")):
        weighed = ["--job", number, "--gross", f"{212 + plan.wound_mass_g:.1f}g", "--tare", "212g", "--strand", other]
        ways = [["weight", "--solve", figure] for figure in ("diameter", "rise", "density")]
        for way in (["weight"], *ways, ["together"]):
            try:
                told = calibrate(*way, *weighed).stdout
            except FileFaultsError as refusal:
                told = refusal.message
                assert f"The one named, of {mm} mm, would weigh " in told
                assert "g were weighed: name the one that was wound" in told
            assert "s this another strand?" in told, (way, other)
    with pytest.raises(FileFaultsError, match="is this another strand"):
        calibrate("layers", "2:87mm", "6:97mm", "--job", "7", "--strand", "pla-2.85")
    right = ["--job", "7", "--gross", f"{212 + thin.wound_mass_g:.1f}g", "--tare", "212g", "--strand", "pla-1.75"]
    assert "another strand" not in calibrate("weight", *right).stdout


def test_a_person_is_told_in_plain_words_and_the_learned_name_stands_in_brackets() -> None:
    rough = ["layers", "2:86.0mm", "5:97.0mm", "8:105.6mm", "11:117.4mm", "--barrel", "80mm", "--strand", "pla-1.75"]
    gross = f"{200 + bench_plan(turns=573).wound_mass_g:.1f}g"
    weighed = ["--gross", gross, "--tare", "200g", "--turns", "573", *BENCH]
    for arguments in (["diameter", "1.74mm", "1.75mm"], rough, ["weight", *weighed], ["together", *weighed]):
        shown = calibrate(*arguments).stdout
        bare = re.sub(r"\([^)]*\)", "", shown)
        assert not re.search(r"Student|Birge|chi-square|E_n|winds together|in u\b", bare), bare
        assert "Off: how far it lies from" in shown
    assert "so every error bar is made" in calibrate(*rough).stdout
    assert "times as wide for that (Student's factor)" in calibrate("diameter", "1.74mm", "1.75mm").stdout


def test_pairs_of_readings_tell_an_oval_strand(home: Path) -> None:
    pairs = ["1.76mm/1.73mm", "1.77mm/1.73mm", "1.76mm/1.72mm", "1.76mm/1.73mm", "1.75mm/1.72mm"]
    answer = answer_of("diameter", *pairs, "--strand", "pla-1.75", "--save", "marsh")
    assert answer["is_oval"] is True
    assert answer["ovality_mm"] == pytest.approx(0.034)
    assert stored(home, "marsh")["calibration"]["second_diameter_mm"] == pytest.approx(1.726)


def test_readings_come_from_a_file_when_there_are_many(tmp_path: Path) -> None:
    file = tmp_path / "readings.toml"
    file.write_text("[micrometer]\nreadings_mm = [1.74, 1.75, 1.73, 1.74, 1.75]\nresolution_mm = 0.01\n")
    from_file, typed = answer_of("diameter", "--from", str(file)), answer_of("diameter", *READINGS)
    assert from_file == typed
    with pytest.raises(UsageError, match="the command line has some too"):
        calibrate("diameter", "1.74mm", "--from", str(file))


def test_a_weight_says_which_figure_it_tells_and_why() -> None:
    plan = bench_plan(turns=700)
    gross = f"{200 + plan.wound_mass_g:.1f}g"
    shown = calibrate("weight", "--gross", gross, "--tare", "200g", "--turns", "700", *BENCH).stdout
    assert re.search(
        r"Solved for the diameter: it made this mass unsure by 2\.\d% \(rise 0\.\d%, density 1\.0%\)", shown
    )
    assert "A weight alone betters the mass of later winds, not their length." in shown
    answer = answer_of("weight", "--gross", gross, "--tare", "200g", "--turns", "700", "--solve", "rise", *BENCH)
    assert answer["found"] == ["rise"]
    assert answer["after"]["rise"] == pytest.approx(plan.rise_factor, abs=1e-3)
    assert answer["after"]["mass_per_metre_g"] == pytest.approx(plan.wound_mass_g / plan.wound_length_m, rel=1e-3)


def test_a_wind_of_the_ledger_brings_spool_winder_strand_and_count() -> None:
    keep_in_ledger(12)
    plan = bench_plan(length_m=200, leader_m=1)
    gross = f"{212 + plan.wound_mass_g:.2f}g"
    answer = answer_of("weight", "--job", "12", "--gross", gross, "--tare", "212g")
    # leader and tail are on the scale too
    assert answer["after"]["diameter_mm"] == pytest.approx(1.75, abs=1e-3)
    with pytest.raises(UsageError, match="holds no job 13"):
        calibrate("weight", "--job", "13", "--gross", gross, "--tare", "212g")


def test_the_file_of_measurements_that_the_help_shows_has_every_key_and_is_read(tmp_path: Path) -> None:
    shown = calibrate("together", "--help").stdout
    _, _, example = shown.partition("A file of measurements:\n")
    file = tmp_path / "measured.toml"
    file.write_text(textwrap.dedent(example), encoding="utf-8")
    read = read_measurements(file)
    assert (len(read.winds), read.winds[1].turns, read.winds[0].layers[1]) == (2, 420, (6, 97.1))
    keys = {field.name for kind in (MicrometerReadings, WindMeasurements) for field in fields(kind)}
    assert [key for key in keys if not re.search(rf"\b{key}\b", example)] == []
    assert max(map(len, example.splitlines())) < 80
    for way in ("diameter", "layers"):
        assert "as `together --help` shows one" in " ".join(calibrate(way, "--help").stdout.split())


def test_a_count_that_was_never_confirmed_has_to_be_given() -> None:
    keep_in_ledger(12, uncertain=True)
    with pytest.raises(UsageError, match="not known for certain") as refusal:
        calibrate("weight", "--job", "12", "--gross", "800g", "--tare", "212g")
    assert "--turns" in refusal.value.remedy
    assert answer_of("weight", "--job", "12", "--turns", "650", "--gross", "800g", "--tare", "212g")["found"]


def test_turns_that_contradict_a_known_count_are_refused_and_a_count_by_eye_near_it_is_not(tmp_path: Path) -> None:
    keep_in_ledger(12)
    counted = float(bench_plan(**LONG_WIND).counted_turns)
    weighed = ["--gross", "800g", "--tare", "212g"]
    for turns in (counted - 0.6, counted + 0.6, 900):
        with pytest.raises(UsageError) as refusal:
            calibrate("together", "--job", "12", "--turns", f"{turns:.3f}", *weighed)
        assert f"The winder counted {counted:.2f} turns in job 12" in refusal.value.message
        assert f"yours are {turns:.2f}" in refusal.value.message
        assert "--wind JOB.toml" in refusal.value.remedy
    for turns in (counted - 0.4, counted + 0.4):
        assert answer_of("together", "--job", "12", "--turns", f"{turns:.3f}", *weighed)["found"]
    file = tmp_path / "measured.toml"
    file.write_text("[[wind]]\njob = 12\nturns = 900\ngross_mass_g = 800\nempty_mass_g = 212\n", encoding="utf-8")
    with pytest.raises(UsageError, match="turns in job 12"):
        calibrate("together", "--from", str(file))


def test_everything_together_comes_from_one_file_and_every_measurement_has_its_number(
    tmp_path: Path, home: Path
) -> None:
    file = measurement_file(tmp_path)
    answer = answer_of("together", "--from", str(file), "--save", "marsh")
    assert [each["number"] for each in answer["measurements"]] == list(range(1, 10))
    assert [each["name"] for each in answer["measurements"][5:]] == [
        "outer diameter over layer 4 of wind 1",
        "outer diameter over layer 12 of wind 1",
        "mass of wind 1",
        "length of wind 2",
    ]
    assert answer["consistent"] is True
    assert answer["after"]["diameter_mm"] == pytest.approx(1.75, abs=2e-3)
    assert answer["after"]["rise"] == pytest.approx(bench_plan(turns=1).rise_factor, abs=3e-3)
    assert answer["after"]["rise_u"] < answer["before"]["rise_u"] / 2
    calibration = stored(home, "marsh")["calibration"]
    assert {"diameter_rise_r", "pitch_mm", "rise", "rise_u"} <= set(calibration)
    without = answer_of("together", "--from", str(file), "--leave-out", "8", "--leave-out", "2")
    assert [each["number"] for each in without["measurements"] if each["left_out"]] == [2, 8]


def test_a_rise_without_a_lay_pitch_says_what_that_costs() -> None:
    layers = ["layers", "2:86.8mm", "9:110mm", "--strand", "pla-1.75"]
    assert "No lay pitch is given (--pitch)" in calibrate(*layers).stdout
    assert "No lay pitch" not in calibrate(*layers, "--pitch", "1.76mm").stdout


def test_a_micrometer_without_an_error_of_its_own_leaves_more_sure_a_mean() -> None:
    exact, plain = answer_of("diameter", *READINGS, "--error-limit", "0mm"), answer_of("diameter", *READINGS)
    assert exact["after"]["diameter_u_mm"] < plain["after"]["diameter_u_mm"]


def test_a_terminal_that_knows_only_ascii_still_gets_the_calibration() -> None:
    ended = reelwright("calibrate", "diameter", *READINGS, PYTHONIOENCODING="ascii")
    assert (ended.returncode, ended.stderr) == (0, "")
    assert re.search(r"Strand diameter[ |]+1\.7420 \+- ?0\.0", ended.stdout)


def test_a_plan_pays_for_no_writer_of_toml_and_no_fit() -> None:
    loaded = loaded_by_a_plan(*BENCH, "--length", "4m", "--json")
    assert "reelwright.winding.plan" in loaded
    assert not {"tomlkit", "reelwright.winding.calibration_fit", "reelwright.views.calibration"} & loaded
