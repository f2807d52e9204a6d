"""`reelwright plan` as a person and as a script see it."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from imports_of_a_plan import loaded_by_a_plan
from processes import reelwright
from reelwright.cli.amounts import LENGTH_UNITS, MASS_UNITS, parse_amount, parse_number
from reelwright.cli.plan import command
from reelwright.errors import UsageError
from reelwright.views.quantities import with_uncertainty

if TYPE_CHECKING:
    from pathlib import Path

BENCH = ["--spool", "kilo", "--strand", "pla-1.75", "--machine", "bench-dc"]


pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program


def plan(*arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def test_of_a_rise_that_no_strand_has_the_plan_does_not_say_what_fits() -> None:
    told = plan(*BENCH, "--length", "40m", "--rise", "0.1").stdout
    assert "Fits            not known: no strand lies as close as by this rise" in told
    assert "Fits            up to" in plan(*BENCH, "--length", "40m").stdout


def test_flags_alone_make_a_plan() -> None:
    answer = json.loads(plan(*BENCH, "--length", "40m", "--json").stdout)
    assert answer["length_m"] == pytest.approx(40)
    assert answer["turns_per_layer"] == "174/5"
    assert answer["layer_pulses"][-1] == answer["target_pulses"]


@pytest.mark.parametrize("length", ["40m", "40 m", "4000cm", "40000mm", "40.0 m"])
def test_a_length_means_the_same_in_every_unit(length: str) -> None:
    assert parse_amount(length, LENGTH_UNITS, "length") == 40


def test_amounts_are_exact() -> None:
    assert parse_amount("0.1mm", LENGTH_UNITS, "length") == Fraction(1, 10_000)
    assert parse_amount("0.25kg", MASS_UNITS, "mass") == 250
    assert parse_number("174/5") == Fraction(174, 5)
    assert parse_number("17.4") == Fraction(87, 5)


@pytest.mark.parametrize(
    ("text", "units", "words"),
    [
        ("40", LENGTH_UNITS, "write 40m"),
        ("250", MASS_UNITS, "write 250g"),
        ("1,5 kg", MASS_UNITS, "as a point, such as '1.5 kg'"),
        ("40 ft", LENGTH_UNITS, "'ft'"),
        ("40 M", LENGTH_UNITS, "'M'"),
        ("330 m", MASS_UNITS, "no unit of mass"),
        ("-3m", LENGTH_UNITS, "no length"),
        ("1e3m", LENGTH_UNITS, "has an exponent; write the number out, such as 1000m"),
        ("2.5E-1 kg", MASS_UNITS, "has an exponent; write the number out, such as 0.25kg"),
        ("1e999999999999999999999m", LENGTH_UNITS, "has an exponent; write the number out"),
        ("nan", LENGTH_UNITS, "no length"),
        ("", LENGTH_UNITS, "no length"),
        ("1 2m", LENGTH_UNITS, "no length"),
        ("٤m", LENGTH_UNITS, "no length"),
    ],
)
def test_other_ways_to_write_an_amount_are_refused_by_name(text: str, units: dict[str, Fraction], words: str) -> None:
    noun = "length" if units is LENGTH_UNITS else "mass"
    with pytest.raises(ValueError, match=r".") as refusal:
        parse_amount(text, units, noun)
    assert words in str(refusal.value)


def test_the_unit_that_is_proposed_is_the_one_that_such_a_length_is_given_in() -> None:
    for text, words in (("1.74", "write 1.74mm"), ("thin", "such as 40mm")):
        with pytest.raises(ValueError, match=words):
            parse_amount(text, LENGTH_UNITS, "diameter", "mm")


@pytest.mark.parametrize("text", ["1,5", "x", "3/0", "-2", "inf", "5m"])
def test_other_ways_to_write_a_number_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"number|comma"):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "out"),
    [("1e3", ", such as 1000"), ("-1e3", ""), ("1e11", f", such as 1{11 * '0'}"), ("1e12", ""), ("1e300", "")],
)
def test_a_number_with_an_exponent_is_refused_for_that(text: str, out: str) -> None:
    with pytest.raises(ValueError, match=r".") as refusal:
        parse_number(text)
    assert str(refusal.value) == f"{text!r} has an exponent; write the number out{out}"


def test_the_table_tells_layers_fit_uncertainty_and_caution() -> None:
    shown = plan(*BENCH, "--length", "40m", "--pause-every-layer").stdout
    for words in ("39.695", "8352", "Flange left", "k = 2", "rise factor", "± 5.7% of mass", "Caution:"):
        assert words in shown


@pytest.mark.parametrize(
    ("ends", "told"),
    [
        ("leader_m = 0.3\ntail_m = 0.2", "With leader and tail 40.500 m"),
        ("leader_m = 0.3", "With leader 40.300 m"),
        ("tail_m = 0.2", "With tail 40.200 m"),
    ],
)
def test_the_plan_says_that_its_table_has_leader_and_tail_in_it(tmp_path: Path, ends: str, told: str) -> None:
    job = tmp_path / "coil.toml"
    job.write_text(TAGGED_SPOOL + ends, encoding="utf-8")
    shown = plan(str(job)).stdout
    (line,) = (" ".join(line.split()) for line in shown.splitlines() if line.startswith("With "))
    assert line.startswith(told)
    assert line.endswith("g, as lengths in the table above")
    job.write_text(TAGGED_SPOOL, encoding="utf-8")
    assert "as lengths in the table" not in plan(str(job)).stdout


def test_a_hand_winder_needs_no_caution_for_power() -> None:
    shown = plan("--spool", "kilo", "--strand", "pla-1.75", "--machine", "bench-hand", "--length", "5m").stdout
    assert "Caution" not in shown
    assert "Torque" not in shown


def test_a_file_is_written_whole_and_the_terminal_stays_quiet(tmp_path: Path) -> None:
    target = tmp_path / "answers" / "plan.json"
    target.parent.mkdir()
    result = plan(*BENCH, "--mass", "0.25kg", "--json", "-o", str(target))
    assert result.stdout == ""
    assert json.loads(target.read_text(encoding="utf-8"))["mass_g"] == pytest.approx(250)
    assert list(target.parent.iterdir()) == [target]
    plan(*BENCH, "--turns", "100", "-o", str(target))
    assert "Turns" in target.read_text(encoding="utf-8")


def test_an_answer_cannot_be_written_over_a_folder(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="is a folder"):
        plan(*BENCH, "--length", "40m", "-o", str(tmp_path))


def test_a_plan_that_does_not_fit_is_answered_and_marked() -> None:
    answer = json.loads(
        plan("--spool", "sample", *BENCH[2:4], "--machine", "narrow-dc", "--length", "80m", "--json").stdout
    )
    assert answer["blocking"] == ["over_flange"]
    assert "over_flange" in {warning["code"] for warning in answer["warnings"]}


def test_without_a_file_the_missing_options_and_their_names_are_told() -> None:
    with pytest.raises(UsageError) as refusal:
        plan("--spool", "kilo")
    assert "missing: --strand, --machine, one of --length" in refusal.value.message
    assert "bench-dc" in refusal.value.remedy


def test_a_spool_is_filled_to_its_margin_and_the_plan_says_what_more_would_fit() -> None:
    answer = json.loads(plan(*BENCH, "--flange-margin", "2mm", "--json").stdout)
    assert 2 <= answer["flange_margin_mm"] < 2 + answer["rise_factor"] * 1.75
    assert answer["last_layer_turns"] == 0
    assert answer["fits_length_m"] == pytest.approx(answer["length_m"] + answer["fits_more_m"])
    shown = plan(*BENCH, "--length", "40m").stdout
    fits = re.search(r"up to (\S+) m, (\S+) m more than asked for", shown)
    assert fits is not None
    assert 0 <= answer["fits_length_m"] - float(fits[1]) < 0.01
    assert 0 <= answer["fits_length_m"] - 40 - float(fits[2]) < 0.01


TAGGED_SPOOL = """
[take_up]
barrel_diameter_mm = 64
flange_diameter_mm = 105
inside_width_mm = 39.5
[strand]
diameter_mm = 1.74
material = "PLA"
[machine]
turns_per_layer = 21
pulses_per_turn = 20
[target]
length_m = 40
"""


def test_a_length_that_is_said_to_fit_is_not_refused_when_it_is_asked_for(tmp_path: Path) -> None:
    # by hand: the spool holds 66.495 m
    job = tmp_path / "coil.toml"
    job.write_text(TAGGED_SPOOL, encoding="utf-8")
    fits = re.search(r"Fits +up to (\S+) m", plan(str(job)).stdout)
    assert fits is not None
    assert fits[1] == "66.49"
    assert json.loads(plan(str(job), "--length", f"{fits[1]}m", "--json").stdout)["blocking"] == []
    beyond = " ".join(plan(str(job), "--length", "66.5m").stdout.split())
    assert "Fits up to 66.49 m, 0.01 m less than asked for" in beyond
    assert "This spool holds 12 whole layers, 66.49 m. Mend: Wind at most 66.49 m, or" in beyond


def test_the_largest_strand_told_does_not_climb_itself(tmp_path: Path) -> None:
    # by hand: a stroke of the width less one strand, in 21 turns a layer, lays at most 39.5 / 22 = 1.79545 mm
    job = tmp_path / "coil.toml"
    job.write_text(TAGGED_SPOOL.replace("1.74", "1.80"), encoding="utf-8")
    shown = " ".join(plan(str(job)).stdout.split())
    assert "Largest strand 1.795 mm" in shown
    assert "wind strand of at most 1.795 mm" in shown
    job.write_text(TAGGED_SPOOL.replace("1.74", "1.795"), encoding="utf-8")
    assert "pitch_tight" not in plan(str(job)).stdout


@pytest.mark.parametrize(("asked", "told"), [("40.001", "needs 40.01 m"), ("40", "needs 40.00 m")])
def test_what_a_wind_needs_of_the_pay_off_spool_is_not_rounded_down(tmp_path: Path, asked: str, told: str) -> None:
    job = tmp_path / "coil.toml"
    job.write_text(
        TAGGED_SPOOL.replace("length_m = 40", f"length_m = {asked}") + "[pay_off]\nheld_m = 60\nheld_u_m = 1\n"
    )
    assert told in plan(str(job)).stdout


@pytest.mark.parametrize(
    ("held", "told"),
    [
        # by hand, k = 2: 50 m held and 40 m taken, which is itself unsure by some centimetres
        ("held_m = 50\nheld_u_m = 1", "10.0 ± 2."),
        ("held_m = 50\nheld_u_m = 20", "at most 5. m, at most 1.. g\n"),
        ("held_m = 30\nheld_u_m = 20", "at most 4. m, at most 1.. g\n"),
        ("held_m = 30\nheld_u_m = 1", "nothing; at least 7.99 m are missing\n"),
    ],
)
def test_what_may_be_nothing_is_told_by_the_most_that_can_be_left(tmp_path: Path, held: str, told: str) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        '[take_up]\nspool = "kilo"\n[strand]\nprofile = "pla-1.75"\n[machine]\nprofile = "bench-dc"\n'
        f"[pay_off]\n{held}\n[target]\nlength_m = 40\n",
        encoding="utf-8",
    )
    line = next(each for each in plan(str(job)).stdout.splitlines(keepends=True) if each.startswith("Left on it"))
    assert re.match(rf"Left on it +{told}", line), line


def test_the_plan_says_what_stays_on_the_pay_off_spool(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        '[take_up]\nspool = "kilo"\n[strand]\nprofile = "pla-1.75"\n[machine]\nprofile = "bench-dc"\n'
        '[pay_off]\nspool = "kilo"\ngross_mass_g = 800\n[target]\nlength_m = 40\n',
        encoding="utf-8",
    )
    source = json.loads(plan(str(job), "--json").stdout)["source"]
    assert source["left_m"] == pytest.approx(source["held_m"] - 40)
    shown = plan(str(job)).stdout
    assert "Left on it" in shown
    assert with_uncertainty(source["left_m"], source["left_u_m"], "m") in shown
    assert with_uncertainty(source["left_g"], source["left_u_g"], "g") in shown
    assert "mm across" in shown


def test_two_targets_on_the_command_line_are_refused() -> None:
    with pytest.raises(UsageError, match="--length and --turns"):
        plan(*BENCH, "--length", "40m", "--turns", "5")


def test_a_line_speed_gives_each_layer_its_speed() -> None:
    answer = json.loads(plan(*BENCH, "--length", "40m", "--line-speed", "0.25", "--json").stdout)
    assert {round(layer["line_speed_m_s"], 9) for layer in answer["layers"]} == {0.25}
    assert answer["drive"]["cruise_rpm"] == answer["layers"][-1]["spool_rpm"]


def test_phase_marks_leader_and_rise_reach_the_plan() -> None:
    ends = ["--leader", "50cm", "--tail", "1m", "--phase-turns", "17.4"]
    pauses = ["--mark", "10m", "--pause-at-layer", "2"]
    result = plan(*BENCH, "--length", "40m", *ends, *pauses, "--rise", "0.95", "--rpm", "60", "--json")
    answer = json.loads(result.stdout)
    assert Fraction(answer["first_pass_turns"]) == Fraction(87, 5)
    assert [stop["kind"] for stop in answer["stops"]] == ["mark", "layer"]
    assert answer["rise_factor"] == 0.95
    assert answer["wound_length_m"] == pytest.approx(41.5)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.toml"], "does not exist"),
        ([*BENCH, "--length", "40"], "write 40m"),
        (["--spool", "kila", *BENCH[2:], "--length", "4m"], 'did you mean "kilo"?'),
        ([*BENCH, "--rise", "crosing", "--length", "4m"], 'did you mean "crossing"?'),
        ([*BENCH], "missing: one of --length, --mass, --layers, --turns, --flange-margin"),
        ([*BENCH, "--flange-margin", "2"], "write 2mm"),
        ([*BENCH, "--flange-margin", "2m"], "one of mm, cm"),
        ([*BENCH, "--flange-margin", "80mm"], "no room for a layer"),
    ],
)
def test_a_persons_slip_ends_with_code_2_and_a_sentence_without_a_traceback(arguments: list[str], words: str) -> None:
    ended = reelwright("plan", *arguments)
    assert ended.returncode == 2
    assert ended.stdout == ""
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr


JOB = """
[take_up]
spool = "kilo"
[strand]
name = "reed"
diameter_mm = 1.75
material = "PETG"
[machine]
profile = "bench-dc"
[target]
length_m = 40
"""
PAUSING = JOB + "pause_at_layers = [3]\n"


@pytest.mark.parametrize(
    ("text", "options", "lines"),
    [
        (JOB, ["--rpm", "0"], ["the command line has 1 fault:", "  --rpm: 0 rpm is out of range"]),
        (JOB, ["--strand", "fen"], ["the command line has 1 fault:", '  --strand: no strand profile is called "fen"']),
        (
            JOB.replace("1.75", "175"),
            ["--rpm", "0"],
            [
                "{file} with --rpm given beside it has 2 faults:",
                "  strand.diameter_mm: 175 mm is out of range",
                "  --rpm: 0 rpm",
            ],
        ),
        (JOB.replace("1.75", "175"), ["--rpm", "60"], ["{file} has 1 fault:", "  strand.diameter_mm: 175 mm"]),
        # the pause is good for the file's own length, and not for the one given
        (
            PAUSING,
            ["--length", "40cm", "--rpm", "60"],
            [
                "{file} with --length and --rpm given beside it has 1 fault:",
                "  target.pause_at_layers[0]: the wind has only 1 layer, not 3; wind more",
            ],
        ),
        (
            PAUSING.replace("[3]", "[3, 90]"),
            ["--rpm", "60"],
            ["{file} has 1 fault:", "  target.pause_at_layers[1]: the wind has only 5 layers, not 90"],
        ),
    ],
)
def test_only_what_stands_in_the_file_is_blamed_on_the_file(
    tmp_path: Path, text: str, options: list[str], lines: list[str]
) -> None:
    file = tmp_path / "coil.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as refusal:
        plan(str(file), *options)
    told = refusal.value.message.splitlines()
    assert len(told) == len(lines)
    for line, begins in zip(told, lines, strict=True):
        assert line.startswith(begins.format(file=file))


def test_a_file_without_a_name_is_told_as_such() -> None:
    with pytest.raises(UsageError, match="name is empty"):
        plan("")


def test_the_heading_keeps_the_material_beside_the_strands_name(tmp_path: Path) -> None:
    file = tmp_path / "reed.toml"
    for text, heading in (
        (JOB, "40.000 m of reed, PETG, 1.75 mm, onto kilo"),
        (JOB.replace('name = "reed"\n', ""), "40.000 m of PETG, 1.75 mm, onto kilo"),
        (JOB.replace("reed", "PETG"), "40.000 m of PETG, 1.75 mm, onto kilo"),
    ):
        file.write_text(text, encoding="utf-8")
        assert plan(str(file)).stdout.splitlines()[0] == heading


def test_a_terminal_that_knows_only_ascii_still_gets_the_plan() -> None:
    ended = reelwright("plan", *BENCH, "--length", "4m", PYTHONIOENCODING="ascii")
    assert ended.returncode == 0
    assert "Length" in ended.stdout


def test_a_script_does_not_pay_for_terminal_port_or_database() -> None:
    loaded = loaded_by_a_plan(*BENCH, "--length", "4m", "--json")
    assert "reelwright.winding.plan" in loaded
    assert not {"rich", "sqlite3", "serial"} & loaded
