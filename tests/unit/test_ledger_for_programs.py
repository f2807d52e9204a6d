"""`reelwright ledger` for other programs: objects, and a table of comma-separated values."""

import csv
import io
import json

import attrs
import pytest

from ledger_shell import AGREED, JOB, REACHED, failure_of, keep, own_home, run

home = pytest.fixture(autouse=True)(own_home)


def test_an_empty_ledger_is_an_empty_answer_for_a_program():
    assert run("list", "--json").stdout == ""
    assert len(list(csv.reader(io.StringIO(run("export", "--csv").stdout)))) == 1


def test_the_bare_command_lists_for_a_program_too():
    keep(7)

    assert run("--json").stdout == run("list", "--json").stdout
    assert "ledger show --json" in failure_of("--json", "show").remedy


def test_the_list_for_a_program_is_an_object_a_line():
    keep(7)
    told = json.loads(run("list", "--json").stdout)

    assert told == {
        "kind": "wind",
        "format": 1,
        "job_id": 7,
        "started_at": "2031-05-04T09:30:00.000+00:00",
        "ended_at": "2031-05-04T09:30:00.000+00:00",
        "open": False,
        "take_up": "tide clock 3",
        "strand": None,
        "material": "reed green",
        "diameter_mm": 1.75,
        "barrel_diameter_mm": 80.0,
        "state": "finished",
        "outcome": "reached",
        "target_pulses": 10104,
        "counted_pulses": 10103,
        "overshoot_pulses": -1,
        "turns": 168.38,
        "layers": 5,
        "length_m": 40.0049,
        "length_u_m": 0.155,
        "mass_g": 119.42,
        "mass_u_g": 1.61,
        "trip": "",
        "uncertain": False,
        "uncertain_turns": 0.0,
        "phase_turns": 5.62,
        "doubts": [],
        "count_known": True,
        "length_lowest_m": 39.6949,
        "length_highest_m": 40.3149,
        "mass_lowest_g": 116.2,
        "mass_highest_g": 122.64,
        "agreed_within_turns": 0.0,
        "turns_lowest": 168.38,
        "turns_highest": 168.38,
        "turns_likely": None,
        "port": "/dev/winder",
        "board": "pico",
        "firmware": "0.1.0",
        "protocol": "1.0",
        "host_version": told["host_version"],
        "last_pulses": 10103,
        "last_state": "finished",
    }


def test_show_for_a_program_has_job_plan_counts_and_events():
    keep(7)
    told = json.loads(run("show", "7", "--json").stdout)

    assert told["job"] == JOB
    assert told["plan"] == {"turns": 168.4}
    assert [count["pulses"] for count in told["counts"]] == [4000, 10103]
    assert told["events"][1]["fields"] == {"pulses": 10103}
    assert told["events"][1]["boot"] == 11


def test_the_export_is_rfc_4180():
    keep(7, job={"take_up": {"name": 'the "big", round\none'}})
    text = run("export", "--csv").stdout_bytes.decode()

    head, row = list(csv.reader(io.StringIO(text, newline="")))
    assert text.startswith("job_id,started_at,ended_at,open,take_up,")
    assert text.endswith("\r\n")
    assert '"the ""big"", round\none"' in text
    told = dict(zip(head, row, strict=True))
    assert told["take_up"] == 'the "big", round\none'
    assert told["doubts"] == ""
    assert (told["length_m"], told["mass_g"], told["open"], told["strand"]) == ("40.0049", "119.42", "false", "")


def test_doubts_are_words_in_one_cell():
    keep(7, result=attrs.evolve(REACHED, doubts=("slip", "bad_sensor")))
    head, row = csv.reader(io.StringIO(run("export", "--csv").stdout))

    assert dict(zip(head, row, strict=True))["doubts"] == "slip; bad_sensor"


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_a_spreadsheet_would_run_is_made_safe_and_numbers_stay_numbers(sign):
    keep(7, job={"take_up": {"name": f"{sign}1+1"}})
    head, row = list(csv.reader(io.StringIO(run("export", "--csv").stdout_bytes.decode(), newline="")))
    told = dict(zip(head, row, strict=True))

    assert told["take_up"] == f"'{sign}1+1"
    assert told["overshoot_pulses"] == "-1"


def test_the_export_goes_to_a_file_whole_or_not_at_all(tmp_path):
    keep(7)
    target = tmp_path / "winds.csv"
    target.write_text("before")
    told = run("export", "--csv", "-o", str(target))

    assert told.stdout == f"{target}: 1 wind.\n"
    assert target.read_bytes() == run("export", "--csv").stdout_bytes
    assert [entry.name for entry in tmp_path.iterdir()].count("winds.csv") == 1
    assert not [entry for entry in tmp_path.iterdir() if entry.name.startswith(".winds")]


def test_an_export_that_cannot_be_written_says_why_and_leaves_nothing(tmp_path):
    keep(7)
    assert "is a folder" in failure_of("export", "--csv", "-o", str(tmp_path)).message
    assert "cannot be written" in failure_of("export", "--csv", "-o", str(tmp_path / "no" / "winds.csv")).message
    assert [entry.name for entry in tmp_path.iterdir()] == ["home"]


def test_an_export_without_a_format_has_the_one_that_there_is():
    keep(7)
    assert run("export").stdout_bytes == run("export", "--csv").stdout_bytes


def test_turns_that_an_agreement_has_left_unknown_are_there_for_programs_too():
    keep(7, result=AGREED)
    told = json.loads(run("list", "--json").stdout)
    head, row = csv.reader(io.StringIO(run("export", "--csv").stdout))

    assert (told["agreed_within_turns"], told["count_known"], told["uncertain"]) == (25.55, False, False)
    assert (told["turns_lowest"], told["turns_highest"]) == (142.83, 193.93)
    assert dict(zip(head, row, strict=True))["agreed_within_turns"] == "25.55"
