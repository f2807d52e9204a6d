"""What `reelwright calibrate --save` stores, and what it does not store without a decision."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from calibrate_shell import (
    BENCH,
    READINGS,
    answer_of,
    bench_plan,
    calibrate,
    faults_of,
    own_home,
    stored,
)
from reelwright.cli.calibrate import command
from reelwright.errors import FileFaultsError, UsageError
from reelwright.profiles import build_job, load_part

if TYPE_CHECKING:
    from pathlib import Path


home = pytest.fixture(autouse=True)(own_home)


def test_without_being_asked_nothing_is_stored_and_the_answer_says_so(home: Path) -> None:
    shown = calibrate("diameter", *READINGS, "--strand", "pla-1.75").stdout
    assert re.search(r"^Strand diameter +1\.7420 ± \S+ mm +1\.7500 ± 0\.0400 mm$", shown, re.MULTILINE)
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
    told = calibrate("diameter", *READINGS, "--save", "marsh", "--keep", "rise").stdout
    assert "The rise factor found earlier is not taken along" in told
    kept = stored(home, "marsh")
    assert [each["method"] for each in kept["earlier"]] == ["micrometer", "outer diameters"]
    assert "rise" not in kept["calibration"]


def test_a_new_diameter_lets_go_of_a_density_that_was_found_with_the_old_one(home: Path) -> None:
    weighed = ["--gross", "815g", "--tare", "215g", "--turns", "573", *BENCH, "--solve", "density"]
    calibrate("weight", *weighed, "--save", "marsh", "--keep", "density")
    assert "density_g_cm3" in stored(home, "marsh")["calibration"]
    found = stored(home, "marsh")["calibration"]["density_g_cm3"]
    with pytest.raises(UsageError, match=rf"the measured density of {found:.4f} ± \S+ g/cm3 would be lost") as told:
        calibrate("diameter", *READINGS, "--save", "marsh")
    assert "--keep density stores the result all the same" in told.value.remedy
    again = calibrate("diameter", *READINGS, "--save", "marsh", "--keep", "density").stdout
    assert f"The density of before, {found:.4f} ± " in again
    assert 'is not taken along: 1.2400 ± 0.0240 g/cm3, of the material profile "PLA", counts again. Weigh' in again
    # 1.24 g/cm3 x pi/4 x (1.742 mm)^2, by hand
    assert re.search(r"Mass of a metre +2\.955 ± 0\.\d+ g  +\d", again)
    assert "density_g_cm3" not in stored(home, "marsh")["calibration"]
    assert load_part("strand", "marsh").density_g_cm3 == 1.24


def test_a_density_that_was_only_gone_by_is_told_with_where_it_is_from_and_not_as_found(home: Path) -> None:
    weighed = ["--gross", "815g", "--tare", "215g", "--turns", "573", *BENCH, "--solve", "diameter"]
    calibrate("weight", *weighed, "--save", "marsh", "--keep", "diameter")
    assert stored(home, "marsh")["calibration"]["density_g_cm3"] == 1.24
    shown = calibrate("diameter", *READINGS, "--strand", "marsh").stdout
    told = 'The density is 1.2400 ± 0.0240 g/cm3, of the material profile "PLA": the calibration before went by it'
    assert told in shown
    assert "found earlier" not in shown
    assert "Mass of a metre" in shown
    assert answer_of("diameter", *READINGS, "--strand", "marsh")["after"]["density_g_cm3"] == 1.24


def test_a_density_of_the_profile_itself_counts_again_and_where_there_is_none_the_row_says_so(home: Path) -> None:
    file = home / "profiles" / "strand.toml"
    file.parent.mkdir(parents=True)
    measured = "[strand.fen.calibration]\nfigures = []\nfound = []\ndensity_g_cm3 = 1.3\ndensity_u_g_cm3 = 0.01\n"
    file.write_text(f"[strand.fen]\ndiameter_mm = 1.75\ndensity_g_cm3 = 1.26\n{measured}", encoding="utf-8")
    shown = calibrate("diameter", *READINGS, "--strand", "fen").stdout
    assert f'along: 1.2600 ± 0.0400 g/cm3, of the strand profile "fen" in {file}, counts again' in shown
    file.write_text(f"[strand.fen]\ndiameter_mm = 1.75\n{measured}", encoding="utf-8")
    shown = calibrate("diameter", *READINGS, "--strand", "fen").stdout
    assert "The density of before, 1.3000 ± 0.0200 g/cm3, goes with another diameter" in shown
    assert "the strand's profile gives none. Weigh a wound spool again." in shown
    assert re.search(r"Mass of a metre +not known +3\.13 ± ", shown)


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


def test_a_profile_that_goes_before_one_that_comes_along_says_so_and_how_to_undo_it(home: Path) -> None:
    file = home / "profiles" / "strand.toml"
    before = f" in {file}. It is used in place of the one of that name that comes along; to undo that, "
    told = calibrate("diameter", *READINGS, "--save", "PLA-1.75").stderr
    assert told == f'Stored as strand "PLA-1.75"{before}remove that file.\n'
    file.unlink()
    assert calibrate("diameter", *READINGS, "--save", "marsh").stderr == f'Stored as strand "marsh" in {file}.\n'
    told = calibrate("diameter", *READINGS, "--save", "pla-1.75").stderr
    assert told.endswith(f'{before}take [strand."pla-1.75"] and what is under it out of that file.\n')


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
    # the limit that the table tells is the one that decides
    shown = calibrate(*weighed, "--keep", "diameter").stdout
    limit = float(re.search(r"beyond (\S+) the diameter stands out", shown)[1])
    off = float(re.search(r"([+-]\d+\.\d)$", shown, re.MULTILINE)[1])
    assert off > limit == 2
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


def test_a_measured_rise_is_not_lost_to_a_diameter_that_goes_by_another_strand(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "reed")
    calibrate("layers", "2:70.8mm", "7:87.2mm", "--pitch", "1.798mm", "--strand", "reed", "--save", "reed")
    before = stored(home, "reed")
    with pytest.raises(UsageError, match=r"measured rise factor of 0\.9414") as told:
        command.main(
            ["diameter", *READINGS, "--strand", "pla-1.75", "--save", "reed", "--keep", "diameter"],
            standalone_mode=False,
        )
    assert "--strand reed goes on from what that profile has, --keep rise stores the result" in told.value.remedy
    assert stored(home, "reed") == before


def test_a_measured_rise_is_not_lost_to_another_diameter_of_its_own_strand_without_a_decision(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "reed")
    calibrate("layers", "2:70.8mm", "7:87.2mm", "--pitch", "1.798mm", "--strand", "reed", "--save", "reed")
    before = stored(home, "reed")
    again = ["diameter", "1.74mm", *READINGS, "--strand", "reed", "--save", "reed"]
    with pytest.raises(UsageError, match=r"the measured rise factor of 0\.9414 ± 0\.0491 would be lost") as told:
        calibrate(*again)
    assert told.value.remedy == "Measure again, or decide: --keep rise stores the result all the same."
    assert stored(home, "reed") == before
    assert answer_of(*again[:-2])["let_go"] == [
        {"figure": "rise", "before": pytest.approx(0.9414, abs=1e-4), "before_u": pytest.approx(0.0246, abs=1e-4)}
        | {"profile": ""}
    ]
    shown = calibrate(*again, "--keep", "rise").stdout
    assert "rise factor found earlier is not taken along" in " ".join(shown.split())
    assert "rise" not in stored(home, "reed")["calibration"]


def test_a_diameter_for_a_new_profile_takes_nothing_from_the_one_that_it_starts_from(home: Path) -> None:
    calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "reed")
    calibrate("layers", "2:70.8mm", "7:87.2mm", "--pitch", "1.798mm", "--strand", "reed", "--save", "reed")
    before = stored(home, "reed")
    calibrate("diameter", "1.74mm", *READINGS, "--strand", "reed", "--save", "sedge")
    assert stored(home, "reed") == before
    assert "rise" not in stored(home, "sedge")["calibration"]


def test_a_result_that_no_job_could_go_by_is_not_stored(home: Path) -> None:
    ribbon = ["1.76mm/1.00mm", "1.75mm/1.01mm", "1.76mm/1.00mm"]
    told = faults_of("diameter", *ribbon, "--strand", "pla-1.75", "--save", "marsh", "--keep", "diameter")
    assert set(told) == {"strand.second_diameter_mm"}
    assert "a ribbon, not a strand" in told["strand.second_diameter_mm"]
    assert not home.exists()


@pytest.mark.parametrize(("density", "metre"), [("density_g_cm3 = 1.05", "2.50"), ("", "not known")])
def test_a_diameter_saved_to_another_strand_goes_with_the_density_of_that_one(
    home: Path, density: str, metre: str
) -> None:
    (home / "profiles").mkdir(parents=True)
    (home / "profiles" / "own.toml").write_text(f"[strand.fen]\ndiameter_mm = 1.75\n{density}\n", encoding="utf-8")
    told = calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "fen").stdout
    # by hand: pi/4 * 1.742^2 mm2 of 1.05 g/cm3 are 2.503 g a metre
    assert re.search(rf"^Mass of a metre +{re.escape(metre)}", told, re.MULTILINE), told
    # a new profile begins with what the one named has: 2.955 g at 1.24 g/cm3
    told = calibrate("diameter", *READINGS, "--strand", "pla-1.75", "--save", "marsh").stdout
    assert re.search(r"^Mass of a metre +2\.9[56]", told, re.MULTILINE), told
