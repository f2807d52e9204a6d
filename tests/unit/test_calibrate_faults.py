"""What `reelwright calibrate` says of a slip: which word was wrong, why, and what to write."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from calibrate_shell import (
    BENCH,
    READINGS,
    calibrate,
    faults_of,
    measurement_file,
    own_home,
)
from processes import reelwright
from reelwright.errors import FileFaultsError, UsageError

if TYPE_CHECKING:
    from pathlib import Path


home = pytest.fixture(autouse=True)(own_home)


KILO = ["--spool", "kilo", "--machine", "bench-dc"]


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("[[wind]]\njobb = 12\n", {"wind 1.jobb": 'did you mean "job"?'}),
        ("[[wind]]\ngross_mass_g = -3\nlayers = [[0, 83], [2, true]]\n",
         {"wind 1.gross_mass_g": "out of range", "wind 1.layers[0][0]": "out of range",
          "wind 1.layers[1][1]": "not a number"}),
        ("[[wind]]\nlayers = [[2, 83.6], [87.2, 7]]\n",
         {"wind 1.layers[1][0]": "the layer's number comes first, then the outer diameter in mm: [7, 87.2]"}),
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
    assert set(told) == {"LAYER:DIAMETER 5:84mm", "LAYER:DIAMETER 9:60mm"}
    assert told["LAYER:DIAMETER 5:84mm"] == (
        "84 mm over layer 5 is not more than the 87 mm over layer 2, and each layer lies on the one before; "
        "the two look swapped: exchange them, or measure again"
    )
    assert told["LAYER:DIAMETER 9:60mm"] == (
        "60 mm over layer 9 is not more than the barrel's 80 mm; exchange them if they are swapped, or measure again"
    )
    level = faults_of("layers", "2:87mm", "5:87mm", "9:80mm", "--barrel", "80mm", "--strand", "pla-1.75")
    assert level["LAYER:DIAMETER 5:87mm"].endswith("and each layer lies on the one before; measure again")
    assert level["LAYER:DIAMETER 9:80mm"] == "80 mm over layer 9 is not more than the barrel's 80 mm; measure it again"
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
            'no measurement or figure "6"; there are measurements 1 to 5, and diameter, rise, density',
        ),
        (["diameter", *READINGS, "--leave-out", "6"], "--leave-out", "no reading 6 of 5"),
        (["together", "--tape-u", "0mm", "--tape", "40m", "--turns", "160", *BENCH], "--tape-u", "above 0"),
    ],
)
def test_a_fault_of_an_option_is_told_by_the_options_name(arguments: list[str], option: str, words: str) -> None:
    told = faults_of(*arguments)
    assert set(told) == {option}
    assert words in told[option]


@pytest.mark.parametrize(
    ("arguments", "places"),
    [
        (["diameter", "1.75mm", "9m"], {"DIAMETER 9000mm"}),
        (["diameter", "1.75mm/1.7mm", "1.74mm/0mm"], {"DIAMETER 1.74mm/0mm"}),
        (["diameter", "1.75mm", "9m", "1.75mm/9m"], {"DIAMETER 9000mm", "DIAMETER 1.75mm/9000mm"}),
        (["layers", "0:87mm", "3:97.25mm", "4:9m", "--strand", "pla-1.75"],
         {"LAYER:DIAMETER 0:87mm", "LAYER:DIAMETER 4:9000mm"}),
        (["layers", "0:87mm", "--barrel", "9m", "--pitch", "0mm"], {"LAYER:DIAMETER 0:87mm", "--barrel", "--pitch"}),
        (["layers", "--strand", "pla-1.75"], {"LAYER:DIAMETER"}),
        (["together", "--layer", "5:97mm", "--layer", "3:79.5mm", "--turns", "200", *BENCH], {"--layer 3:79.5mm"}),
        (["weight", "--gross", "815g", "--tare", "212g", "--turns", "500", "--spool", "kilox", "--machine", "bench",
          "--strand", "pla-1"], {"--spool", "--machine", "--strand"}),
        (["weight", "--gross", "815g", "--tare", "212g", "--turns", "90000", *BENCH], {"--turns"}),
        (["weight", *BENCH], {"--gross"}),
        (["layers", "3:87mm", "--strand", "pla-2.85"], {"--barrel"}),
        (["diameter", "1.75mm", "1.75mm", "--strand", "pla"], {"--strand"}),
    ],
)  # fmt: skip
def test_a_fault_is_told_by_what_was_typed_and_not_by_an_inner_path(arguments: list[str], places: set[str]) -> None:
    assert set(faults_of(*arguments)) == places


def test_a_strand_misspelt_beside_a_job_file_is_the_command_lines_fault(tmp_path: Path) -> None:
    file = measurement_file(tmp_path)
    with pytest.raises(FileFaultsError) as refusal:
        calibrate("together", "--from", str(file), "--strand", "pla-1")
    assert refusal.value.source == "the command line"
    assert [fault.path for fault in refusal.value.faults] == ["--strand"]


def test_a_strand_without_a_density_is_told_by_the_profile_or_by_the_job_that_it_is_of(
    home: Path, tmp_path: Path
) -> None:
    (home / "profiles").mkdir(parents=True)
    (home / "profiles" / "mine.toml").write_text("[strand.marsh]\ndiameter_mm = 1.75\n", encoding="utf-8")
    weighed = ["weight", "--gross", "815g", "--tare", "212g", "--turns", "500"]
    assert set(faults_of(*weighed, *KILO, "--strand", "marsh")) == {"--strand marsh, strand.density_g_cm3"}
    job = tmp_path / "coil.toml"
    job.write_text(
        '[take_up]\nspool = "kilo"\n[machine]\nprofile = "bench-dc"\n'
        "[strand]\ndiameter_mm = 1.75\n[target]\nturns = 500\n",
        encoding="utf-8",
    )
    assert set(faults_of(*weighed, "--wind", str(job))) == {"strand.density_g_cm3"}


def test_what_is_missing_is_named_and_nothing_else() -> None:
    barrel = faults_of("layers", "3:87mm", "--strand", "pla-2.85")["--barrel"]
    assert "give its diameter, or measure a second layer" in barrel
    first_layer = faults_of("layers", "1:83.5mm", "--strand", "pla-1.75", "--barrel", "80mm")
    assert first_layer == {"measurements": "1 measurement cannot settle the rise; measure a layer further out"}
    for given, missing in ((["--spool", "kilo"], "--machine"), (["--machine", "bench-dc"], "--spool")):
        with pytest.raises(UsageError, match="named in part") as refusal:
            calibrate("layers", "3:87mm", "--strand", "pla-1.75", *given)
        assert missing in refusal.value.remedy
    with pytest.raises(UsageError, match="named in part") as refusal:
        calibrate("weight", "--gross", "815g", "--tare", "212g", "--turns", "500", *KILO)
    assert refusal.value.remedy == "Give --strand too."


@pytest.mark.parametrize(
    ("profile", "place", "words"),
    [
        ("diametr_mm = 1.75", "--strand marsh, strand.diametr_mm", 'did you mean "diameter_mm"?'),
        ("diameter_mm = -1", "--strand marsh, strand.diameter_mm", "out of range"),
        ('material = "PLA"', "--strand marsh, strand.diameter_mm", "this key is missing"),
        ("diameter_mm = 1.75\n[strand.marsh.calibration]\nrise = 9", "--strand marsh, lay.rise", "out of range"),
    ],
)
def test_a_fault_of_a_profile_names_the_profiles_file(home: Path, profile: str, place: str, words: str) -> None:
    file = home / "profiles" / "mine.toml"
    file.parent.mkdir(parents=True)
    file.write_text(f"[strand.marsh]\n{profile}\n", encoding="utf-8")
    told = faults_of("diameter", *READINGS, "--strand", "marsh")
    assert words in told[place]
    assert str(file) in told[place]
    saved = faults_of("diameter", *READINGS, "--save", "marsh")
    assert str(file) in saved[place.replace("--strand", "--save")]


def test_a_value_out_of_range_is_shown_as_a_decimal_however_small() -> None:
    assert "0.0000001 mm is out of range" in faults_of("diameter", "0.0000001mm", "1.75mm").popitem()[1]
    assert "7000.5 mm is out of range" in faults_of("layers", "2:84mm", "--barrel", "7000.5mm")["--barrel"]


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
        (["diameter", "1.74mm"], "it takes two to tell how far they scatter"),
        (["layers", "two:87mm"], "write both, such as 6:97.1mm"),
        (["weight", "--gross", "215g", "--tare", "1015g", "--turns", "9", *BENCH], "is not lighter than"),
        (["diameter", *READINGS, "--strand", "pla-1.57"], 'did you mean "pla-1.75"?'),
        (["diameter", *READINGS, "--save", "\x07"], "is no name for a profile"),
    ],
)
def test_a_persons_slip_ends_with_code_2_and_a_sentence_without_a_traceback(arguments: list[str], words: str) -> None:
    ended = reelwright("calibrate", *arguments)
    assert ended.returncode == 2
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr
