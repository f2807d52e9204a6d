"""`reelwright ledger`: what a person gets to see of the winds that were kept."""

import json
import re

import attrs
import pytest

from ledger_shell import AGREED, LAST_HEARD, REACHED, failure_of, keep, own_home, run
from processes import reelwright
from reelwright.errors import EXIT_USAGE, UsageError
from reelwright.ledger import ledger_path
from reelwright.ledger.sqlite import SqliteLedger

home = pytest.fixture(autouse=True)(own_home)


@pytest.mark.parametrize("arguments", [(), ("list",), ("show",)])
def test_an_empty_ledger_says_so_and_makes_no_file(home, arguments):
    told = run(*arguments)

    assert told.stdout == "The ledger is empty: `reelwright wind` records each wind.\n"
    assert told.exit_code == 0
    assert not home.exists()


@pytest.mark.parametrize("arguments", [(), ("list",)])
def test_the_list_in_a_pipe_is_plain_columns(arguments):
    keep(7)
    keep(8, result=None)
    keep(9, result=attrs.evolve(REACHED, trip="snag", outcome=""))
    keep(10, result=attrs.evolve(REACHED, outcome="", state="waiting", mass_g=None))

    assert run(*arguments).stdout.splitlines() == [
        "",
        "                             counted,          mass,",
        "job           started           k = 2          k = 2     stands  take-up",
        "─────────────────────────────────────────────────────────────────────────────",
        " 10  2031-05-04 09:30  40.00 ± 0.31 m              -  may go on  tide clock 3",
        "  9  2031-05-04 09:30  40.00 ± 0.31 m  119.4 ± 3.2 g    tripped  tide clock 3",
        "  8  2031-05-04 09:30               -              -       open  tide clock 3",
        "  7  2031-05-04 09:30  40.00 ± 0.31 m  119.4 ± 3.2 g    reached  tide clock 3",
    ]


def on_terminal(monkeypatch, columns, *arguments):
    """What a person sees at a terminal of so many columns."""
    monkeypatch.setattr("reelwright.views.ledger_table._on_terminal", lambda: True)
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("NO_COLOR", "1")
    return re.sub("\x1b\\[[0-9;]*m", "", run(*arguments).stdout)


@pytest.mark.parametrize("arguments", [("list",), ("show",)])
def test_on_a_terminal_the_tables_fit_80_columns(monkeypatch, arguments):
    keep(2**30 - 1)
    text = on_terminal(monkeypatch, 80, *arguments)

    assert max(map(len, text.splitlines())) <= 80
    for wanted in ("1073741823", "40.00 ± 0.31 m", "119.4 ± 3.2 g", "2031-05-04 09:30", "tide"):
        assert wanted in text


@pytest.mark.parametrize("columns", [30, 40, 50, 59, 60, 77, 78, 100])
def test_a_narrow_terminal_stacks_what_does_not_fit_and_breaks_no_figure(monkeypatch, columns):
    keep(2**30 - 1)
    keep(9, result=LAST_HEARD)
    listed = on_terminal(monkeypatch, columns, "list")
    shown = on_terminal(monkeypatch, columns, "show", str(2**30 - 1))

    for text in (listed, shown):
        assert max(map(len, text.splitlines())) <= columns
        assert "…" not in text
        assert {"1073741823", "40.00", "0.31", "119.4", "3.2", "2031-05-04", "tide"} <= set(text.split())
    assert {"2.0", "12.6", "6", "38", "reached"} <= set(listed.split())
    assert {"10103", "168.38", "09:30:00", "09:30"} <= set(shown.replace(",", "").split())


def test_a_count_that_is_not_known_has_its_two_ends_and_a_mark_and_no_error_bar():
    keep(7, result=LAST_HEARD)
    *_, head, _, row, mark = run("list").stdout.splitlines()
    shown = run("show").stdout

    assert row == "  7  2031-05-04 09:30  2.0 to 12.6 m  6 to 38 g  tripped ?  tide clock 3"
    assert mark.startswith("? What is on the spool is not known for certain")
    assert "  counted  2.0 to 12.6 m, k = 2\n" in shown
    assert "±" not in head + row + shown


def test_of_a_count_that_nothing_bounds_the_least_is_told():
    """As of one that a program recorded that kept no ends."""
    keep(7, result=attrs.evolve(REACHED, uncertain=True, outcome="abandoned"))
    with SqliteLedger(ledger_path()) as ledger:
        ledger._connection.execute(
            "UPDATE winds SET result = json_remove(result, '$.length_highest_m', '$.count_known')"
        )
    told = json.loads(run("list", "--json").stdout)

    assert "at least 39.69 m" in run("list").stdout
    assert "reached" not in run("list").stdout
    assert (told["count_known"], told["length_lowest_m"], told["length_highest_m"]) == (False, 39.6949, None)


def test_a_wind_that_went_on_after_its_result_was_kept_has_at_least_that_much():
    at_a_stop = attrs.evolve(REACHED, state="waiting", outcome="", counted_pulses=4000, length_lowest_m=11.69)
    keep(7, result=None)
    with SqliteLedger(ledger_path()) as ledger:
        ledger.settle(7, at_a_stop)  # the newest count is 10103
    told = json.loads(run("list", "--json").stdout)

    assert "at least 11.69 m" in run("list").stdout
    assert "may go on ?" in run("list").stdout
    assert (told["count_known"], told["length_lowest_m"], told["length_highest_m"]) == (False, 11.69, None)
    assert "guide" not in run("show").stdout


def test_a_spool_without_a_name_is_told_by_its_size():
    keep(7, job={"take_up": {"name": "", "barrel_diameter_mm": 64.0, "flange_diameter_mm": 105.0}})
    keep(8, job={})
    *_, first, second = run("list").stdout.splitlines()

    assert first.endswith("reached  -")
    assert second.endswith("reached  barrel 64 mm, flange 105 mm")


def test_a_last_count_that_was_heard_after_the_last_one_kept_is_told_beside_it():
    keep(7, result=attrs.evolve(LAST_HEARD, counted_pulses=10199))

    assert "the last 10103 pulses, finished, at 2031-05-04 09:30:00; soon after, 10199 were heard" in run("show").stdout


def test_the_list_stops_at_its_limit():
    for job_id in range(1, 30):
        keep(job_id)

    assert run("list").stdout.count("reached") == 20
    assert len(run("list", "--limit", "3", "--json").stdout.splitlines()) == 3
    assert run("list", "--limit", "0").exit_code == EXIT_USAGE


def test_show_tells_what_is_on_the_spool_and_how_it_got_there():
    keep(7)

    assert run("show", "7").stdout.splitlines() == [
        "The target was reached.",
        "  counted  40.00 ± 0.31 m, k = 2",
        "  mass     119.4 ± 3.2 g, k = 2",
        "  turns    168.38 in 5 layers",
        "  pulses   10103, 1 short of the target of 10104",
        "  guide    5.62 turns before its next reversal",
        "  job      7",
        "  strand   reed green, 1.75 mm",
        "  take-up  tide clock 3",
        "  started  2031-05-04 09:30",
        "  ended    2031-05-04 09:30",
        "  winder   pico, firmware 0.1.0, link 1.0, at /dev/winder",
        "  counts   2 kept, about one a second; the last 10103 pulses, finished, at 2031-05-04 09:30:00",
        "",
        "event                 time  what happened",
        "───────────────────────────────────────────────────",
        "    1  2031-05-04 09:30:00  Winding began.",
        "    2  2031-05-04 09:30:00  The target was reached.",
    ]


def test_show_without_a_number_shows_the_last_wind():
    keep(30)
    keep(10)

    assert run("show").stdout == run("show", "10").stdout


def test_a_wind_whose_host_was_lost_shows_its_last_count():
    keep(7, job={}, result=None)
    text = run("show").stdout

    assert "No result was kept" in text
    assert "last count  10103 pulses, finished" in text
    assert "ended       not yet" in text


def test_an_unknown_number_is_an_error_that_says_where_the_numbers_are():
    keep(7)
    for arguments in (("show", "8"), ("show", "8", "--json"), ("show", "99999999999999")):
        failure = failure_of(*arguments)
        assert isinstance(failure, UsageError)
        assert failure.message == f"The ledger holds no job {arguments[1]}."
        assert "`reelwright ledger list`" in failure.remedy


def test_a_number_that_is_none_is_a_usage_error():
    told = run("show", "seven")

    assert told.exit_code == EXIT_USAGE
    assert "'seven' is not a valid integer" in told.stderr


def test_text_from_outside_steers_no_terminal():
    keep(7, job={"take_up": {"name": "[red]\x1b[2Jspool\n2"}}, port="\x1b]0;x\x07port")
    text = run("list").stdout + run("show").stdout

    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[red]spool 2" in text


def test_the_command_itself_ends_in_a_paragraph_and_an_exit_code_never_a_traceback(home):
    home.mkdir()
    (home / "ledger.sqlite3").write_text("Dear diary, " * 100)
    told = reelwright("ledger", "list")

    assert told.returncode == 3
    assert told.stdout == ""
    assert told.stderr.startswith("Error: The ledger ")
    assert "is no ledger" in told.stderr
    assert "Move that file away." in told.stderr
    assert "Traceback" not in told.stderr


def test_a_count_that_was_agreed_to_keeps_what_that_left_unknown():
    keep(7, result=AGREED)
    text, shown = run("list").stdout, run("show").stdout

    assert "reached ?   25.55  tide clock 3" in text
    assert "agreed\n" in text
    assert "The target was reached. Its count was agreed within 25.55 turns." in shown
    assert "turns     168.38, give or take 25.55, in 5 layers" in shown
    assert "pulses    10104, the target, not for certain" in shown
    assert "left 25.55 turns unknown either way, as was agreed to" in shown


def test_an_agreed_count_of_an_older_ledger_is_not_called_known():
    keep(7, result=attrs.evolve(REACHED, uncertain_turns=25.55))
    with SqliteLedger(ledger_path()) as ledger:
        ledger._connection.execute(
            "UPDATE winds SET result ="
            " json_remove(result, '$.agreed_within_turns', '$.turns_lowest', '$.turns_highest')"
        )

    assert "reached ?" in run("list").stdout
    assert "give or take 25.55" in run("show").stdout
