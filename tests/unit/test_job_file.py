"""Jobs from files and flags: what is accepted, and how everything wrong is told at once."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest

from job_files import GOOD, faults_of, file_of
from reelwright.device.client import KEEP_ALIVE_S
from reelwright.errors import FileFaultsError, UsageError
from reelwright.profiles import build_job, load_job
from reelwright.winding.plan import make_plan
from winding_jobs import job_of, job_tables

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("own_profiles")


def test_a_good_file_becomes_a_job_with_exact_gears(tmp_path: Path) -> None:
    job = load_job(file_of(tmp_path, GOOD))
    assert job.machine.layer_turns == Fraction(174, 5)
    assert job.stroke_mm == 61.25
    assert (job.machine.drive, job.machine.cruise_rpm, job.machine.approach_rpm) == ("dc", 120, 6)
    assert job.machine.full_duty_rpm == pytest.approx(168)


def test_a_decimal_is_read_as_its_text_and_not_as_the_nearest_float(tmp_path: Path) -> None:
    text = GOOD.replace("gears = [[10, 58], [10, 30]]\nscrew_turns_per_pass = 2", "turns_per_layer = 34.8")
    assert load_job(file_of(tmp_path, text)).machine.layer_turns == Fraction(174, 5)
    assert job_of(machine={"turns_per_layer": 34.8}).machine.layer_turns == Fraction(174, 5)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"target": {"layers": "5/2", "pause_at_layers": [1, 2], "marks_m": [3.5], "leader_m": 0.25}},
        {"machine": {"phase_turns": "272/15", "sensor_shaft": "motor", "shaft_turns_per_spool_turn": "87/7"}},
        {"lay": {"rise": 0.93, "rise_u": 0.004}, "pay_off": {"gross_mass_g": 800.5, "empty_mass_g": 150}},
        {"machine": {"turns_per_layer": None, "gears": [[10, 58], [10, 30]], "screw_turns_per_pass": 2}},
        {"machine": {"drive": "stepper", "steps_per_spool_turn": 3200, "fitted": []}},
        {"machine": {"dwell_turns": "7/6"}, "strand": {"second_diameter_mm": 1.78}, "target": {"flange_margin_mm": 0}},
    ],
)
def test_a_job_survives_its_own_plain_form_through_json(changes: dict[str, Any]) -> None:
    job = job_of(**changes)
    assert build_job(json.loads(json.dumps(job.to_dict()))) == job


def test_all_faults_of_a_file_are_told_at_once_each_with_its_path(tmp_path: Path) -> None:
    path = file_of(
        tmp_path,
        """
        spool_rpm = 5
        [takeup]
        [take_up]
        barrel_diameter_mm = 200
        flange_diameter_mm = 100
        inside_width_mm = "63"
        [strand]
        diamter_mm = 1.75
        density_g_cm3 = nan
        [machine]
        gears = [[10, 0], [10, true], [3]]
        screw_turns_per_pass = "2/0"
        pulses_per_turn = 0
        drive = "steper"
        stroke_mm = 1e400
        fitted = ["stop_buton"]
        ratchet = 1
        [lay]
        rise = "crosing"
        [target]
        length_m = -inf
        mass_g = 40
        """,
    )
    with pytest.raises(FileFaultsError) as refusal:
        load_job(path)
    told = {fault.path: fault.message for fault in refusal.value.faults}
    assert set(told) == {
        "spool_rpm",
        "takeup",
        "take_up.barrel_diameter_mm",
        "take_up.inside_width_mm",
        "strand.diamter_mm",
        "strand.density_g_cm3",
        "machine.gears[0][1]",
        "machine.gears[1][1]",
        "machine.gears[2]",
        "machine.screw_turns_per_pass",
        "machine.pulses_per_turn",
        "machine.drive",
        "machine.stroke_mm",
        "machine.fitted[0]",
        "machine.ratchet",
        "lay.rise",
        "target.length_m",
        "target.mass_g",
    }
    assert "move it under [machine]" in told["spool_rpm"]
    assert '"take_up"' in told["takeup"]
    assert "write 63 without quotes" in told["take_up.inside_width_mm"]
    assert 'did you mean "diameter_mm"?' in told["strand.diamter_mm"]
    assert "0 teeth" in told["machine.gears[0][1]"]
    assert 'did you mean "stepper"?' in told["machine.drive"]
    assert str(path) in str(refusal.value)


@pytest.mark.parametrize(
    ("table", "key", "value", "words"),
    [
        ("take_up", "barrel_diameter_mm", -80, ["-80 mm", "above 0", "at most 5000 mm"]),
        ("take_up", "barrel_diameter_mm", 200, ["barrel and flange are both 200 mm", "no room for strand"]),
        ("take_up", "barrel_diameter_mm", 201, ["barrel and flange look swapped: 201 mm is not smaller than 200 mm"]),
        ("take_up", "inside_width_mm", float("inf"), ["not a finite number"]),
        ("take_up", "inside_width_mm", 1, ["leaves no room", "wider spool"]),
        ("take_up", "inside_width_mm", 10**400, ["out of range"]),
        ("strand", "diameter_mm", True, ["true is not a number"]),
        ("strand", "diameter_mm", "1.75", ["without quotes"]),
        ("strand", "diameter_mm", [1.75], ["a list is not a number"]),
        ("strand", "diameter_u_mm", 1, ["too unsure"]),
        ("strand", "second_diameter_mm", 3.5, ["3.5 mm across 1.75 mm", "measure both again"]),
        ("strand", "second_diameter_mm", 0, ["0 mm", "at least 0.05"]),
        ("strand", "second_diameter_mm", "1.8", ["without quotes"]),
        ("strand", "material", 7, ["not text", "quotes"]),
        ("strand", "material", "a\x1b[31mb", ["printable"]),
        ("machine", "pulses_per_turn", 0, ["0 pulses", "at least 1"]),
        ("machine", "pulses_per_turn", 1.5, ["not a whole number"]),
        ("machine", "turns_per_layer", "174/0", ["divides by zero"]),
        ("machine", "turns_per_layer", "a third", ["not a fraction"]),
        ("machine", "turns_per_layer", 0, ["above 0"]),
        ("machine", "stroke_mm", 64, ["wider than the spool's inside width", "63 mm"]),
        ("machine", "phase_turns", 35, ["34.8", "at most that"]),
        ("machine", "phase_turns", -1, ["at least 0"]),
        ("machine", "dwell_turns", 34.8, ["34.8 turns", "never", "less than that"]),
        ("machine", "dwell_turns", "174/5", ["never"]),
        ("machine", "dwell_turns", -0.5, ["at least 0"]),
        ("machine", "dwell_turns", "often", ["not a fraction"]),
        ("machine", "spool_rpm", 121, ["more than max_spool_rpm"]),
        ("machine", "creep_rpm", 200, ["faster than"]),
        ("machine", "no_load_rpm", 60, ["cannot wind at 120 rpm"]),
        ("machine", "shaft_turns_per_spool_turn", 3, ["sensor_shaft"]),
        ("machine", "fitted", "stop_button", ["not a list"]),
        ("machine", "ratchet", "yes", ["neither true nor false"]),
        ("lay", "rise", 1.6, ["out of range"]),
        ("target", "leader_m", -1, ["-1 m", "at least 0"]),
        ("target", "marks_m", [10, 41], ["beyond the 40.000 m"]),
        ("target", "pause_at_layers", [2, 9], ["only 5 layers"]),
        ("target", "pause_every_layer", "true", ["without quotes"]),
    ],
)
def test_a_wrong_value_is_told_with_its_path_and_its_mend(
    table: str, key: str, value: object, words: list[str]
) -> None:
    told = faults_of(job_tables(**{table: {key: value}}))
    assert len(told) == 1
    path, message = next(iter(told.items()))
    assert path.partition("[")[0] == f"{table}.{key}"
    for word in words:
        assert word in message


@pytest.mark.parametrize(("given", "meant"), [("17.4", "1.74"), ("0.175", "1.75"), ("28.5", "2.85"), ("0.286", "2.86")])
def test_a_slipped_decimal_point_of_the_strand_is_asked_about_before_anything_else(
    tmp_path: Path, given: str, meant: str
) -> None:
    text = GOOD.replace("diameter_mm = 1.75", f"diameter_mm = {given}").replace(
        "[target]", "[target]\npause_at_layers = [3]"
    )
    assert f"diameter_mm = {given}" in text
    with pytest.raises(FileFaultsError) as refusal:
        load_job(file_of(tmp_path, text))
    (fault,) = refusal.value.faults
    assert fault.path == "strand.diameter_mm"
    assert fault.message == f"{given} mm is no such strand; did you mean {meant} mm?"


@pytest.mark.parametrize("diameter_mm", [1.0, 1.4, 2.1, 2.2, 3.4, 5.0, 0.5, 13.0])
def test_thin_and_thick_strand_is_wound_without_a_question(diameter_mm: float) -> None:
    strand = {"diameter_mm": diameter_mm, "diameter_u_mm": 0.01}
    assert job_of(strand=strand, lay={"rise": "stacked"}).strand.diameter_mm == diameter_mm


def test_an_absurd_target_is_refused_before_it_is_computed_for_ever() -> None:
    assert "1000 layers" in faults_of(job_tables(target={"length_m": 1_000_000}))["target.length_m"]
    assert "1000 layers" in faults_of(job_tables(target={"turns": 9_000_000}))["target.turns"]


def test_leader_and_tail_that_take_everything_are_refused() -> None:
    assert "shorten" in faults_of(job_tables(target={"turns": 5, "tail_m": 3}))["target.turns"]


def test_a_margin_that_leaves_no_layer_is_refused_and_one_of_nothing_fills_to_the_rim() -> None:
    told = faults_of(job_tables(target={"flange_margin_mm": 59}))
    assert "no room for a layer and a margin of 59 mm" in told["target.flange_margin_mm"]
    assert "at least 0" in faults_of(job_tables(target={"flange_margin_mm": -1}))["target.flange_margin_mm"]
    assert make_plan(job_of(target={"flange_margin_mm": 0})).blocking == ()


@pytest.mark.parametrize(("barrel_mm", "words"), [(95, "look swapped: 95 mm is not"), (90, "are both 90 mm")])
def test_a_pay_off_spools_swapped_diameters_are_told_to_be_swapped(barrel_mm: float, words: str) -> None:
    size = {"wound_diameter_mm": 90, "barrel_diameter_mm": barrel_mm, "inside_width_mm": 50}
    assert words in faults_of(job_tables(pay_off=size))["pay_off.barrel_diameter_mm"]


def test_the_shortest_link_loss_leaves_room_for_four_words_of_a_host_that_has_nothing_to_ask() -> None:
    shortest_s = 4 * KEEP_ALIVE_S
    assert job_of(machine={"link_loss_s": shortest_s}).machine.link_loss_s == shortest_s
    assert "machine.link_loss_s" in faults_of(job_tables(machine={"link_loss_s": 0.99 * shortest_s}))


def test_a_dwell_and_a_phase_are_held_against_the_turns_that_gears_give_too() -> None:
    gears = {"turns_per_layer": None, "gears": [[10, 58], [10, 30]], "screw_turns_per_pass": 2}
    told = faults_of(job_tables(machine=gears | {"dwell_turns": 35, "phase_turns": 36}, strand={"diameter_u_mm": 1}))
    assert set(told) == {"machine.dwell_turns", "machine.phase_turns", "strand.diameter_u_mm"}


def test_a_pitch_at_which_strand_falls_through_needs_a_measured_rise() -> None:
    told = faults_of(job_tables(machine={"turns_per_layer": 15}))
    assert "measured rise" in told["lay.rise"]
    assert job_of(machine={"turns_per_layer": 15}, lay={"rise": 0.5}).lay.rise == 0.5


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"target": {"mass_g": 250}, "strand": {"density_g_cm3": None}}, "strand.density_g_cm3"),
        ({"target": {"length_m": None}}, "target"),
        ({"target": {"length_m": 3, "turns": 4, "layers": None}}, None),
        ({"machine": {"gears": [[1, 2]], "screw_turns_per_pass": 2}}, "machine.turns_per_layer"),
        ({"machine": {"turns_per_layer": None}}, "machine.turns_per_layer"),
        ({"machine": {"turns_per_layer": None, "gears": [[1, 2]]}}, "machine.screw_turns_per_pass"),
        ({"machine": {"turns_per_layer": None, "gears": [], "screw_turns_per_pass": 2}}, "machine.gears"),
        ({"machine": {"drive": "stepper"}}, "machine.steps_per_spool_turn"),
        ({"machine": {"sensor_shaft": "motor"}}, "machine.shaft_turns_per_spool_turn"),
        ({"pay_off": {"empty_mass_g": 100}}, "pay_off"),
        ({"pay_off": {"gross_mass_g": 100, "empty_mass_g": 100}}, "pay_off.empty_mass_g"),
        (
            {"pay_off": {"wound_diameter_mm": 90, "barrel_diameter_mm": 95, "inside_width_mm": 50}},
            "pay_off.barrel_diameter_mm",
        ),
        ({"pay_off": {"wound_diameter_mm": 90, "barrel_diameter_mm": 50}}, "pay_off.inside_width_mm"),
    ],
)
def test_values_that_forbid_one_another_are_refused(changes: dict[str, Any], path: str | None) -> None:
    if path is None:
        tables = job_tables()
        for beside in ("turns", "flange_margin_mm"):
            tables["target"] = {"length_m": 3, beside: 4}
            assert set(faults_of(tables)) == {f"target.{beside}"}
    else:
        assert path in faults_of(job_tables(**changes))


@pytest.mark.parametrize(("rise", "more"), [("foo", ""), ("crosing", '; did you mean "crossing"?')])
def test_a_word_where_a_number_would_do_as_well_is_told_so_in_one_sentence(rise: str, more: str) -> None:
    words = '"crossing", "nested", "stacked", and no number either'
    assert faults_of(job_tables(lay={"rise": rise})) == {"lay.rise": f'"{rise}" is not one of {words}{more}'}


def test_a_missing_table_says_what_belongs_into_it() -> None:
    told = faults_of({"take_up": {"spool": "kilo"}})
    assert set(told) == {"strand", "machine", "target"}
    assert "length_m, mass_g, layers, turns, flange_margin_mm" in told["target"]


def test_a_table_that_is_no_table_and_a_key_in_the_wrong_table_are_told() -> None:
    tables = job_tables(strand={"length_m": 3})
    tables["lay"] = "nested"
    told = faults_of(tables)
    assert "not a table" in told["lay"]
    assert "belongs into [target]" in told["strand.length_m"]


def test_keys_cannot_steer_the_terminal() -> None:
    with pytest.raises(FileFaultsError) as refusal:
        build_job(job_tables(strand={"\x1b]0;gone\x07": 1}) | {"\x1b[2J": 3})
    assert "\x1b" not in str(refusal.value)
    assert "\x07" not in str(refusal.value)


# files that cannot be read


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="does not exist"):
        load_job(tmp_path / "nowhere.toml")
    with pytest.raises(UsageError, match="is a folder"):
        load_job(tmp_path)
    with pytest.raises(UsageError, match="cannot be read"):
        load_job("a\0b")


def test_broken_toml_is_told_with_line_and_column(tmp_path: Path) -> None:
    with pytest.raises(FileFaultsError) as refusal:
        load_job(file_of(tmp_path, "[take_up]\nbarrel_diameter_mm = = 80\n"))
    assert refusal.value.faults[0].path == "line 2, column 22"


@pytest.mark.parametrize(("end", "last"), [("[1.74", 2), ("[1.74\n", 2), ("[\n1.74,", 3)])
def test_a_list_that_is_never_closed_is_told_with_the_line_where_the_file_ends(
    tmp_path: Path, end: str, last: int
) -> None:
    with pytest.raises(FileFaultsError) as refusal:
        load_job(file_of(tmp_path, f"[strand]\ndiameter_mm = {end}"))
    assert refusal.value.faults[0].path == f"line {last}, the last"


@pytest.mark.parametrize("content", [b"\xff\xfe\x00x", b"[strand]\nname = '\xe9'\n"])
def test_text_that_is_not_utf_8_is_told(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    with pytest.raises(FileFaultsError, match="UTF-8"):
        load_job(path)


@pytest.mark.parametrize("text", ["a = " + "[" * 3000 + "]" * 3000, "a = " + "9" * 5000, "x" * 1_000_001])
def test_a_file_made_to_break_the_reader_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(UsageError):
        load_job(file_of(tmp_path, text))
