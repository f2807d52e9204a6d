"""`reelwright calibrate` as a person and as a script see it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result

from reelwright.cli.calibrate import command
from reelwright.errors import FileFaultsError, UsageError
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.profiles import build_job
from reelwright.snapshot import WindResult
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path

BENCH = ["--spool", "kilo", "--machine", "bench-dc", "--strand", "pla-1.75"]
READINGS = ["1.74mm", "1.75mm", "1.73mm", "1.74mm", "1.75mm"]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of the test's own for profiles and ledger, and a terminal wide enough for every sentence."""
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "300")
    return tmp_path / "home"


def calibrate(*arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def answer_of(*arguments: str) -> dict[str, Any]:
    answer = json.loads(calibrate(*arguments, "--json").stdout)
    assert isinstance(answer, dict)
    return answer


def faults_of(*arguments: str) -> dict[str, str]:
    with pytest.raises(FileFaultsError) as refusal:
        calibrate(*arguments)
    return {fault.path: fault.message for fault in refusal.value.faults}


def stored(home: Path, name: str) -> dict[str, Any]:
    strand = tomllib.loads((home / "profiles" / "strand.toml").read_text(encoding="utf-8"))["strand"][name]
    assert isinstance(strand, dict)
    return strand


def bench_plan(**target: Any) -> Any:
    tables: dict[str, Any] = {
        "take_up": {"spool": "kilo"},
        "machine": {"profile": "bench-dc"},
        "strand": {"profile": "pla-1.75"},
        "target": target,
    }
    return make_plan(build_job(tables))


def test_without_being_asked_nothing_is_stored_and_the_answer_says_so(home: Path) -> None:
    shown = calibrate("diameter", *READINGS, "--strand", "pla-1.75").stdout
    assert "1.7420 ±" in shown
    assert "before 1.7500 ± 0.0400 mm" in shown
    assert "Nothing is stored. Add --save NAME" in shown
    assert not home.exists()


def test_a_saved_diameter_is_what_the_next_plan_goes_by(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "marsh")
    kept = stored(home, "marsh")
    assert kept["material"] == "PLA"
    assert kept["diameter_mm"] == 1.75
    calibration = kept["calibration"]
    assert calibration["diameter_mm"] == pytest.approx(1.742)
    assert calibration["method"] == "micrometer"
    assert (calibration["readings"], calibration["found"]) == (5, ["diameter"])
    assert calibration["inputs"][0] == "diameter: 1.74 mm"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", calibration["date"])
    tables: dict[str, Any] = {
        "take_up": {"spool": "kilo"},
        "machine": {"profile": "bench-dc"},
        "strand": {"profile": "marsh"},
        "target": {"length_m": 40},
    }
    assert build_job(tables).strand.diameter_mm == pytest.approx(1.742)


def test_a_second_calibration_builds_on_the_first_and_keeps_it_as_history(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "marsh")
    bench = [*BENCH[:4], "--strand", "marsh"]
    calibrate("layers", "2:90.9mm", "6:104.1mm", "10:117.3mm", *bench, "--save", "Marsh")
    kept = stored(home, "marsh")
    assert [each["method"] for each in kept["earlier"]] == ["micrometer"]
    assert kept["calibration"]["method"] == "outer diameters"
    assert kept["calibration"]["rise"] == pytest.approx(0.95, abs=0.02)
    assert kept["calibration"]["pitch_mm"] == pytest.approx(1.7603, abs=1e-4)
    assert kept["calibration"]["diameter_mm"] == pytest.approx(1.742, abs=0.001)
    told = calibrate("diameter", *READINGS, "--save", "marsh").stdout
    assert "The rise factor found earlier is not taken along" in told
    kept = stored(home, "marsh")
    assert [each["method"] for each in kept["earlier"]] == ["micrometer", "outer diameters"]
    assert "rise" not in kept["calibration"]


def test_a_new_diameter_lets_go_of_a_density_that_was_found_with_the_old_one(home: Path) -> None:
    weighed = ["--gross", "815g", "--tare", "215g", "--turns", "573", *BENCH, "--solve", "density"]
    calibrate("weight", *weighed, "--save", "marsh", "--keep", "density")
    assert "density_g_cm3" in stored(home, "marsh")["calibration"]
    again = calibrate("diameter", *READINGS, "--save", "marsh").stdout
    assert "The density found earlier is not taken along" in again
    assert "Mass of a metre" not in again
    assert "density_g_cm3" not in stored(home, "marsh")["calibration"]


def test_a_persons_comments_and_other_profiles_stay_as_they_were(home: Path) -> None:
    file = home / "profiles" / "mine.toml"
    file.parent.mkdir(parents=True)
    strand, spool = (
        "[strand.marsh]  # the blue tag\ndiameter_mm = 1.750  # label\n",
        "[spool.tub]\nbarrel_diameter_mm = 80\n",
    )
    before = f"# reeds\n{strand}\n{spool}"
    file.write_text(before, encoding="utf-8")
    calibrate("diameter", *READINGS, "--save", "marsh")
    after = file.read_text(encoding="utf-8")
    for line in before.splitlines():
        assert line in after.splitlines()
    assert [path.name for path in file.parent.iterdir()] == ["mine.toml"]


@pytest.mark.parametrize(
    "text",
    ["strand = {marsh = {diameter_mm = 1.75}}\n", "[strand]\nmarsh = {diameter_mm = 1.75}\n"],
)
def test_a_file_that_cannot_take_a_calibration_is_left_alone(home: Path, text: str) -> None:
    file = home / "profiles" / "mine.toml"
    file.parent.mkdir(parents=True)
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=r"Give the strand a table of its own, \[strand\.\"marsh\"\]"):
        calibrate("diameter", *READINGS, "--save", "marsh")
    assert file.read_text(encoding="utf-8") == text


def test_a_broken_profile_file_stops_the_calibration_before_anything_is_written(home: Path) -> None:
    file = home / "profiles" / "mine.toml"
    file.parent.mkdir(parents=True)
    file.write_text("[strand.marsh\n", encoding="utf-8")
    with pytest.raises(FileFaultsError, match="not valid TOML"):
        calibrate("diameter", *READINGS, "--save", "marsh")
    assert [path.name for path in file.parent.iterdir()] == ["mine.toml"]


def test_a_folder_that_cannot_be_made_is_told(home: Path) -> None:
    home.write_text("in the way")
    with pytest.raises(UsageError, match="cannot be made"):
        calibrate("diameter", *READINGS, "--save", "marsh")


@pytest.mark.parametrize("name", ["", " ", ".", "..", "a/b", "a\\b", "reed ", "-reed", "reed\n", 'a"b', "r" * 101])
def test_a_name_that_no_profile_may_have_is_refused_with_the_rule_before_anything_is_shown(
    home: Path, name: str
) -> None:
    with pytest.raises(UsageError, match="is no name for a profile") as refusal:
        calibrate("diameter", *READINGS, "--save", name)
    assert "letters, digits, spaces and . _ + -" in refusal.value.remedy
    assert not home.exists()


@pytest.mark.parametrize("name", ["r", "reed 2", "PLA+ 1.75", "trübe_Welle-3", "r" * 100])
def test_any_other_name_may_be_given(home: Path, name: str) -> None:
    calibrate("diameter", *READINGS, "--save", name)
    assert stored(home, name)["calibration"]


def test_a_profile_that_has_another_name_already_may_keep_it(home: Path) -> None:
    file = home / "profiles" / "strand.toml"
    file.parent.mkdir(parents=True)
    file.write_text('[strand."marsh/blue"]\ndiameter_mm = 1.75\n', encoding="utf-8")
    calibrate("diameter", *READINGS, "--save", "marsh/blue")
    assert stored(home, "marsh/blue")["calibration"]["diameter_mm"] == pytest.approx(1.742)


def test_what_stands_out_is_named_and_stored_only_after_a_decision(home: Path) -> None:
    readings = [*READINGS, "1.47mm"]
    with pytest.raises(UsageError) as refusal:
        calibrate("diameter", *readings, "--save", "marsh")
    assert refusal.value.message == "Nothing was stored: measurement 6 stands out."
    assert "--leave-out 6" in refusal.value.remedy
    assert not home.exists()
    assert "measurement 6, diameter 1.47 mm, stands out" in calibrate("diameter", *readings).stdout
    calibrate("diameter", *readings, "--leave-out", "6", "--save", "marsh")
    assert stored(home, "marsh")["calibration"]["diameter_mm"] == pytest.approx(1.742)
    calibrate("diameter", *readings, "--keep", "6", "--save", "reed")
    assert stored(home, "reed")["calibration"]["diameter_mm"] == pytest.approx(1.6967, abs=1e-4)


def test_the_distance_that_is_told_is_the_one_that_the_table_shows_and_beyond_the_limit() -> None:
    layers = ["2:84.6mm", "5:98mm", "8:104mm", "11:120mm", "14:124mm"]
    shown = calibrate("layers", *layers, "--barrel", "80mm", "--strand", "pla-1.75").stdout
    told = re.findall(r"measurement (\d), .* it lies (\d+\.\d) times its uncertainty off, more than 3\.5", shown)
    assert len(told) >= 2
    for number, off in told:
        assert float(off) > 3.5
        assert re.search(rf"^│ +{number} │.*[+-]{re.escape(off)} │$", shown, re.MULTILINE), (number, off)


def test_a_swapped_pair_is_told_to_be_swapped() -> None:
    shown = calibrate("diameter", "1.76mm/1.72mm", "1.76mm/1.72mm", "1.72mm/1.76mm", "1.76mm/1.73mm").stdout
    assert "measurement 3, mean of two diameters 1.74 mm, stands out" in shown
    assert "narrow before wide: swap them" in shown


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


def test_a_diameter_far_from_what_was_known_is_stored_only_after_a_decision(home: Path) -> None:
    thin = ["diameter", "1.74mm", "1.75mm", "--strand", "petg-2.85"]
    shown = calibrate(*thin).stdout
    assert "the strand diameter of 1.7450 ± 0.0281 mm stands out: it was 2.8500 ± 0.0400 mm before" in shown
    assert "--keep diameter stores the result all the same" in shown
    with pytest.raises(UsageError, match="strand diameter stands out against what was known") as refusal:
        calibrate(*thin, "--save", "petg-2.85")
    assert "--keep diameter stores" in refusal.value.remedy
    assert not home.exists()
    calibrate(*thin, "--save", "petg-2.85", "--keep", "diameter")
    assert stored(home, "petg-2.85")["calibration"]["diameter_mm"] == pytest.approx(1.745)


def test_a_weight_far_from_what_was_known_needs_the_same_decision(home: Path) -> None:
    """The tare of a kilogram spool forgotten."""
    gross = f"{bench_plan(turns=573).wound_mass_g + 400:.1f}g"
    weighed = ["weight", "--gross", gross, "--tare", "200g", "--turns", "573", *BENCH, "--save", "marsh"]
    with pytest.raises(UsageError, match="strand diameter stands out against what was known"):
        calibrate(*weighed)
    assert not home.exists()
    calibrate(*weighed, "--keep", "diameter")
    assert stored(home, "marsh")["calibration"]["found"] == ["diameter"]


def test_a_result_less_sure_than_what_was_known_replaces_it_only_after_a_decision(home: Path) -> None:
    gross = f"{200 + bench_plan(turns=573).wound_mass_g:.1f}g"
    weighed = ["--gross", gross, "--tare", "200g", "--turns", "573", *BENCH]
    shown = calibrate("weight", *weighed, "--solve", "density").stdout
    assert re.search(
        r"the density of 1\.240\d ± 0\.0\d{3} g/cm3 is less sure than before, 1\.2400 ± 0\.0240 g/cm3: "
        r"`reelwright calibrate together` makes use of what was known as well",
        shown,
    )
    with pytest.raises(UsageError, match="the density would be less sure than before"):
        calibrate("weight", *weighed, "--solve", "density", "--save", "marsh")
    assert not home.exists()
    # the way that it points out
    together = answer_of("together", *weighed, "--save", "marsh")
    assert together["after"]["density_u_g_cm3"] < 0.012
    assert [each for each in together["changes"] if each["less_sure"] or each["stands_out"]] == []
    assert stored(home, "marsh")["calibration"]["method"] == "all measurements together"


def test_layers_close_together_do_not_replace_a_surer_rise(home: Path) -> None:
    plan = bench_plan(turns=573)
    close = [f"{layer}:{plan.layers[layer - 1].diameter_mm:.2f}mm" for layer in (2, 4)]
    with pytest.raises(UsageError, match="the rise factor would be less sure than before"):
        calibrate("layers", *close, *BENCH, "--caliper-u", "1mm", "--save", "marsh")
    assert not home.exists()


def test_the_profile_that_a_result_goes_into_is_looked_at_too(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "marsh")
    thick = ["diameter", "2.84mm", "2.85mm", "2.86mm", "2.85mm", "2.85mm", "--strand", "pla-2.85", "--save", "marsh"]
    with pytest.raises(UsageError, match="strand diameter stands out"):
        calibrate(*thick)
    assert 'in the strand profile "marsh"' in CliRunner().invoke(command, thick).stdout
    assert stored(home, "marsh")["calibration"]["diameter_mm"] == pytest.approx(1.742)
    calibrate(*thick, "--keep", "diameter")
    assert stored(home, "marsh")["calibration"]["diameter_mm"] == pytest.approx(2.85)


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


def keep_in_ledger(job_id: int, **result: Any) -> None:
    plan = bench_plan(length_m=200, leader_m=1)
    told = {
        "job_id": job_id, "state": "finished", "outcome": "reached", "target_pulses": plan.target_pulses,
        "counted_pulses": plan.target_pulses, "turns": plan.turns, "layers": 15, "length_m": 200.0, "length_u_m": 1.0,
        "mass_g": 600.0, "mass_u_g": 9.0,
    }  # fmt: skip
    with SqliteLedger(ledger_path(), now=lambda: datetime(2031, 5, 4, tzinfo=UTC)) as ledger:
        ledger.open_wind(job_id, job=plan.job.to_dict(), plan={}, port="", board="", firmware="", protocol="", boot=1)
        ledger.close_wind(job_id, WindResult(**(told | result)))


def test_a_wind_of_the_ledger_brings_spool_winder_strand_and_count() -> None:
    keep_in_ledger(12)
    plan = bench_plan(length_m=200, leader_m=1)
    gross = f"{212 + plan.wound_mass_g:.2f}g"
    answer = answer_of("weight", "--job", "12", "--gross", gross, "--tare", "212g")
    # leader and tail are on the scale too
    assert answer["after"]["diameter_mm"] == pytest.approx(1.75, abs=1e-3)
    with pytest.raises(UsageError, match="holds no job 13"):
        calibrate("weight", "--job", "13", "--gross", gross, "--tare", "212g")


def test_a_count_that_was_never_confirmed_has_to_be_given() -> None:
    keep_in_ledger(12, uncertain=True)
    with pytest.raises(UsageError, match="did not confirm at rest") as refusal:
        calibrate("weight", "--job", "12", "--gross", "800g", "--tare", "212g")
    assert "--turns" in refusal.value.remedy
    assert answer_of("weight", "--job", "12", "--turns", "650", "--gross", "800g", "--tare", "212g")["found"]


def measurement_file(folder: Path) -> Path:
    """Two winds, one of the ledger and one of a job file, and a micrometer; all exact."""
    keep_in_ledger(12)
    plan, other = bench_plan(length_m=200, leader_m=1), bench_plan(turns=500)
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


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("[[wind]]\njobb = 12\n", {"wind 1.jobb": 'did you mean "job"?'}),
        ("[[wind]]\ngross_mass_g = -3\nlayers = [[0, 83], [2, true]]\n",
         {"wind 1.gross_mass_g": "out of range", "wind 1.layers[0][0]": "out of range",
          "wind 1.layers[1][1]": "not a number"}),
        ("[micrometer]\npairs_mm = [[1.7, 1.8, 1.9]]\n[windd]\n",
         {"micrometer.pairs_mm[0]": "this list has 3 entries; give 2", "windd": 'did you mean "wind"?'}),
        ("wind = 3\n", {"wind": "write [[wind]]"}),
        ("", {"TOML": "nothing was measured"}),
    ],
)  # fmt: skip
def test_faults_of_a_file_of_measurements_are_told_all_at_once(
    tmp_path: Path, text: str, faults: dict[str, str]
) -> None:
    file = tmp_path / "measured.toml"
    file.write_text(text)
    told = faults_of("together", "--from", str(file))
    assert set(told) == set(faults)
    for path, words in faults.items():
        assert words in told[path]


def test_contradictions_on_the_command_line_are_told_at_once_and_nothing_is_stored(home: Path) -> None:
    told = faults_of("weight", "--gross", "215g", "--tare", "1015g", *BENCH, "--save", "marsh")
    assert set(told) == {"--tare", "--turns"}
    assert "exchange or correct them" in told["--tare"]
    told = faults_of("layers", "2:87mm", "5:84mm", "9:60mm", "--barrel", "80mm", "--strand", "pla-1.75", "--save", "m")
    assert set(told) == {"layers[1]", "layers[2]"}
    assert not home.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["layers", "5:97mm", "--strand", "pla-1.75"], "1 measurement cannot settle the"),
        (["layers", "2:91mm", "9:150mm", "--strand", "pla-1.75"], "a strand's is at least 0.5 and at most 1.2"),
        (["weight", "--gross", "2kg", "--tare", "1g", "--turns", "50", "--solve", "rise", *BENCH], "a rise factor of"),
        (
            ["weight", "--gross", "9kg", "--tare", "1g", "--turns", "99", "--solve", "density", *BENCH],
            "at most 25 g/cm3",
        ),
        (
            ["weight", "--gross", "2g", "--tare", "1g", "--turns", "9999", "--solve", "diameter", *BENCH],
            "0.05 and at most",
        ),
    ],
)
def test_what_no_measurement_can_mean_is_refused(arguments: list[str], words: str) -> None:
    assert any(words in message for message in faults_of(*arguments).values())


@pytest.mark.parametrize(
    ("arguments", "option", "words"),
    [
        (["diameter", *READINGS, "--resolution", "0mm"], "--resolution", "above 0"),
        (["diameter", *READINGS, "--error-limit", "2m"], "--error-limit", "at most 1 mm"),
        (["layers", "2:84mm", "6:97mm", "--strand", "pla-1.75", "--pitch", "0mm"], "--pitch", "above 0"),
        (["layers", "2:84mm", "6:97mm", "--strand", "pla-1.75", "--barrel", "9m"], "--barrel", "at most 5000 mm"),
        (
            ["diameter", *READINGS, "--keep", "6"],
            "--keep",
            'no measurement or figure "6"; there are measurements 1 to 5, and diameter',
        ),
        (["diameter", *READINGS, "--leave-out", "6"], "--leave-out", "no reading 6 of 5"),
        (["together", "--tape-u", "0mm", "--tape", "40m", "--turns", "160", *BENCH], "--tape-u", "above 0"),
    ],
)
def test_a_fault_of_an_option_is_told_by_the_options_name(arguments: list[str], option: str, words: str) -> None:
    told = faults_of(*arguments)
    assert set(told) == {option}
    assert words in told[option]


def test_a_value_out_of_range_is_shown_as_a_decimal_however_small() -> None:
    assert "0.0000001 mm is out of range" in faults_of("diameter", "0.0000001mm", "1.75mm").popitem()[1]
    assert "7000.5 mm is out of range" in faults_of("layers", "2:84mm", "--barrel", "7000.5mm")["--barrel"]


def test_a_micrometer_without_an_error_of_its_own_leaves_more_sure_a_mean() -> None:
    exact, plain = answer_of("diameter", *READINGS, "--error-limit", "0mm"), answer_of("diameter", *READINGS)
    assert exact["after"]["diameter_u_mm"] < plain["after"]["diameter_u_mm"]


def test_a_result_that_no_job_could_go_by_is_not_stored(home: Path) -> None:
    ribbon = ["1.76mm/1.00mm", "1.75mm/1.01mm", "1.76mm/1.00mm"]
    told = faults_of("diameter", *ribbon, "--strand", "pla-1.75", "--save", "marsh", "--keep", "diameter")
    assert set(told) == {"strand.second_diameter_mm"}
    assert "a ribbon, not a strand" in told["strand.second_diameter_mm"]
    assert not home.exists()


def test_a_wind_that_nobody_named_is_asked_for() -> None:
    with pytest.raises(UsageError, match="not said which wind"):
        calibrate("weight", "--gross", "800g", "--tare", "200g", "--turns", "600", "--strand", "pla-1.75")
    with pytest.raises(UsageError, match="counted in strand diameters"):
        calibrate("layers", "2:87mm", "9:111mm")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["diameter", "1.74"], "has no unit; write 1.74mm"),
        (["layers", "7:87"], "has no unit; write 87mm"),
        (["layers", "7:87mm", "--barrel", "80"], "has no unit; write 80mm"),
        (["together", "--tape", "40"], "has no unit; write 40m."),
        (["diameter", "1,74mm"], "has a comma"),
        (["diameter", "--save", "marsh"], "No reading is given"),
        (["diameter", "1.74mm"], "tells no scatter"),
        (["layers", "two:87mm"], "write both, such as 6:97.1mm"),
        (["weight", "--gross", "215g", "--tare", "1015g", "--turns", "9", *BENCH], "is not lighter than"),
        (["diameter", *READINGS, "--strand", "pla-1.57"], 'did you mean "pla-1.75"?'),
        (["diameter", *READINGS, "--save", "\x07"], "is no name for a profile"),
    ],
)
def test_a_persons_slip_ends_with_code_2_and_a_sentence_without_a_traceback(arguments: list[str], words: str) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", "from reelwright.cli import run; run()", "calibrate", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        check=False,
    )
    assert ended.returncode == 2
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_terminal_that_knows_only_ascii_still_gets_the_calibration() -> None:
    ended = subprocess.run(
        [sys.executable, "-c", "from reelwright.cli import run; run()", "calibrate", "diameter", *READINGS],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert (ended.returncode, ended.stderr) == (0, "")
    assert "Strand diameter  1.7420 ? 0.0" in ended.stdout


def test_a_plan_pays_for_no_writer_of_toml_and_no_fit() -> None:
    code = (
        "import sys; sys.argv = ['reelwright', 'plan', *sys.argv[1:]]\n"
        "from reelwright.cli import main; main(standalone_mode=False)\n"
        "late = {'tomlkit', 'reelwright.winding.calibration_fit', 'reelwright.views.calibration'}\n"
        "loaded = late & set(sys.modules)\n"
        "assert not loaded, loaded"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, *BENCH, "--length", "4m", "--json"],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
