"""The ledger keeps what it was given, once, in order, in a file that later versions and other programs can rely on."""

import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta

import attrs
import pytest

import shown_wind
from reelwright.ledger import Count, LedgerError, ledger_path, new_job_id, open_ledger
from reelwright.ledger.layout import APPLICATION_ID, STEPS, bring_up_to_date
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import Happening

JOB = {"strand": {"diameter_mm": 1.75, "material": "reed green"}, "machine": {"turns_per_layer": "174/5"}}
PLAN = {"turns": 168.4, "layer_pulses": [2088, 4176]}
LAYER_DONE = Happening(1, "layer_done", "Layer 1 is full.", {"layer": 1, "pulses": 2088}, "")
RESULT = attrs.evolve(shown_wind.REACHED, job_id=7, target_pulses=4176, counted_pulses=4177, turns=69.62)


class SteppingClock:
    """Each look at it is a second later."""

    def __init__(self):
        self.now = datetime(2031, 5, 4, 9, 30, tzinfo=UTC)

    def __call__(self):
        self.now += timedelta(seconds=1)
        return self.now


@pytest.fixture
def path(tmp_path):
    return tmp_path / "made on demand" / "ledger.sqlite3"


@pytest.fixture
def ledger(path):
    with SqliteLedger(path, now=SteppingClock(), busy_s=0.05) as opened:
        yield opened


def begin(ledger, job_id=7, boot=11):
    ledger.open_wind(
        job_id, job=JOB, plan=PLAN, port="/dev/winder", board="pico", firmware="0.1.0", protocol="1.0", boot=boot
    )


# --- what it keeps ------------------------------------------------------------------------------------------


def test_a_wind_is_kept_from_its_start_to_its_result(ledger, path):
    begin(ledger)
    ledger.record_count(7, 1000, "winding")
    ledger.record_count(7, 4177, "finished")
    ledger.close_wind(7, RESULT)

    with SqliteLedger(path) as reopened:
        record = reopened.find(7)
        counts = reopened.counts(7)
    assert (record.job, record.plan) == (JOB, PLAN)
    assert (record.port, record.board, record.firmware, record.protocol, record.boot) == (
        "/dev/winder",
        "pico",
        "0.1.0",
        "1.0",
        11,
    )
    assert (record.started_at, record.ended_at) == ("2031-05-04T09:30:01.000+00:00", "2031-05-04T09:30:04.000+00:00")
    assert (record.last_pulses, record.last_state, record.open, record.result) == (4177, "finished", False, RESULT)
    assert counts == [
        Count("2031-05-04T09:30:02.000+00:00", 1000, "winding"),
        Count("2031-05-04T09:30:03.000+00:00", 4177, "finished"),
    ]


def test_a_wind_just_begun_is_open_and_has_no_count(ledger):
    begin(ledger)
    record = ledger.find(7)

    assert record.open
    assert (record.last_pulses, record.last_state, record.ended_at, record.result) == (None, "", None, None)


def test_a_wind_left_at_rest_keeps_its_standing_and_stays_open(ledger):
    begin(ledger)
    resting = attrs.evolve(RESULT, state="waiting", outcome="", counted_pulses=2088)
    ledger.settle(7, resting)

    record = ledger.find(7)
    assert record.open
    assert record.ended_at is None
    assert record.result == resting


def test_a_wind_is_adopted_by_a_later_host_and_ends_once(ledger):
    begin(ledger, boot=11)
    ledger.settle(7, attrs.evolve(RESULT, state="waiting", outcome=""))
    ledger.adopt(7, boot=12, port="/dev/winder")
    assert ledger.find(7).boot == 12

    ledger.close_wind(7, RESULT)
    ended_at = ledger.find(7).ended_at
    ledger.close_wind(7, attrs.evolve(RESULT, length_u_m=0.2))
    assert ledger.find(7).ended_at == ended_at
    assert ledger.find(7).result.length_u_m == 0.2


def test_an_event_told_twice_is_kept_once(ledger):
    begin(ledger)

    assert ledger.record_event(7, 11, LAYER_DONE) is True
    assert ledger.record_event(7, 11, attrs.evolve(LAYER_DONE, sentence="told again")) is False
    assert [event.happening for event in ledger.events(7)] == [LAYER_DONE]


def test_the_same_number_from_another_boot_is_another_event(ledger):
    begin(ledger)

    assert ledger.record_event(7, 11, LAYER_DONE)
    assert ledger.record_event(7, 12, LAYER_DONE)
    assert [event.boot for event in ledger.events(7)] == [11, 12]


def test_the_same_boot_and_number_after_the_job_was_given_anew_is_another_event(ledger):
    begin(ledger)

    assert ledger.record_event(7, 11, LAYER_DONE)
    ledger.adopt(7, 11, port="/dev/winder")
    assert not ledger.record_event(7, 11, LAYER_DONE), "another host, the same series"
    ledger.begin_series(7, 11, port="/dev/winder")
    assert ledger.record_event(7, 11, LAYER_DONE)
    assert not ledger.record_event(7, 11, LAYER_DONE)
    assert [(event.boot, event.series) for event in ledger.events(7)] == [(11, 1), (11, 2)]
    assert ledger.find(7).series == 2


def test_the_same_number_in_another_job_is_another_event(ledger):
    begin(ledger, job_id=7)
    begin(ledger, job_id=8)

    assert ledger.record_event(7, 11, LAYER_DONE)
    assert ledger.record_event(8, 11, LAYER_DONE)


def test_notices_of_the_host_have_no_number_and_are_all_kept(ledger):
    begin(ledger)
    notice = Happening(0, "note", "The winder fell silent.")

    assert [ledger.record_event(7, 11, notice) for _ in range(3)] == [True] * 3
    assert len(ledger.events(7)) == 3


def test_hostile_text_is_kept_as_it_is_and_runs_nothing(ledger):
    hostile = "'); DROP TABLE winds; -- \x1b[2J \u202e \x00 end"
    begin(ledger)
    ledger.record_event(7, 11, Happening(2, hostile, hostile, {hostile: hostile}, hostile))
    ledger.record_count(7, 1, hostile)

    told = ledger.events(7)[0].happening
    assert (told.verb, told.sentence, told.remedy, told.fields) == (hostile, hostile, hostile, {hostile: hostile})
    assert ledger.find(7).last_state == hostile


def test_the_newest_winds_come_first_whatever_their_numbers(ledger):
    for job_id in (30, 10, 20):
        begin(ledger, job_id)

    assert [record.job_id for record in ledger.winds()] == [20, 10, 30]
    assert [record.job_id for record in ledger.winds(2)] == [20, 10]


def test_counts_of_two_winds_do_not_mix(ledger):
    begin(ledger, 7)
    begin(ledger, 8)
    ledger.record_count(7, 100, "winding")
    ledger.record_count(8, 200, "winding")
    ledger.record_count(7, 300, "waiting")

    assert [count.pulses for count in ledger.counts(7)] == [100, 300]
    assert (ledger.find(7).last_pulses, ledger.find(8).last_pulses) == (300, 200)


def test_an_unknown_job_is_nothing_to_find_and_nothing_to_write_to(ledger):
    assert ledger.find(9) is None
    assert ledger.find(10**30) is None
    assert ledger.counts(9) == ledger.events(9) == []
    for write in (
        lambda: ledger.adopt(9, 1, port="p"),
        lambda: ledger.begin_series(9, 1, port="p"),
        lambda: ledger.record_count(9, 1, "winding"),
        lambda: ledger.record_event(9, 1, LAYER_DONE),
        lambda: ledger.settle(9, RESULT),
        lambda: ledger.close_wind(9, RESULT),
    ):
        with pytest.raises(LedgerError, match="holds no job 9"):
            write()


def test_a_job_number_is_used_once(ledger):
    begin(ledger)
    with pytest.raises(LedgerError, match="holds a job 7 already"):
        begin(ledger)

    assert ledger.find(7).started_at == "2031-05-04T09:30:01.000+00:00"


def test_new_job_numbers_fit_the_link_and_avoid_used_ones(ledger, monkeypatch):
    begin(ledger, job_id=5)
    drawn = iter([4, 4, 0])
    monkeypatch.setattr("secrets.randbelow", lambda bound: next(drawn) if bound == 2**30 - 1 else None)

    assert new_job_id(ledger) == 1  # 5 is taken, twice


def test_new_job_numbers_come_from_the_whole_range(ledger):
    drawn = [new_job_id(ledger) for _ in range(200)]

    assert all(1 <= job_id < 2**30 for job_id in drawn)
    assert len(set(drawn)) > 190


def test_several_threads_may_write(ledger):
    begin(ledger)

    def write():
        for pulses in range(20):
            ledger.record_count(7, pulses, "winding")

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(ledger.counts(7)) == 80


# --- the file -----------------------------------------------------------------------------------------------


def test_the_file_is_as_durable_as_it_can_be(ledger):
    def setting(name):
        return ledger._connection.execute(f"PRAGMA {name}").fetchone()[0]

    assert setting("journal_mode") == "wal"
    assert setting("synchronous") == 2  # FULL (sqlite.org/pragma.html)
    assert setting("user_version") == len(STEPS)


def test_a_reader_sees_what_is_written_while_the_wind_runs(ledger, path):
    begin(ledger)
    with SqliteLedger(path) as reader:
        ledger.record_count(7, 12, "winding")
        assert reader.find(7).last_pulses == 12


def test_the_variable_names_the_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path / "elsewhere"))

    assert ledger_path() == tmp_path / "elsewhere" / "ledger.sqlite3"
    with open_ledger() as ledger:
        begin(ledger)
    assert ledger_path().exists()


def test_without_the_variable_it_lies_with_the_users_data(monkeypatch):
    monkeypatch.delenv("REELWRIGHT_HOME", raising=False)

    assert ledger_path().name == "ledger.sqlite3"
    assert "reelwright" in ledger_path().parent.parts


def test_a_newer_layout_is_refused_and_left_alone(path):
    SqliteLedger(path).close()
    with sqlite3.connect(path) as raw:
        raw.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    raw.close()
    before = path.read_bytes()

    with pytest.raises(LedgerError, match="written by a newer reelwright") as told:
        SqliteLedger(path)
    assert "Update reelwright" in told.value.remedy
    assert path.read_bytes() == before


@pytest.mark.parametrize("version", [0, 1])
def test_a_database_of_another_program_is_refused_and_left_alone(path, version):
    path.parent.mkdir()
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE recipes (name)")
    raw.execute(f"PRAGMA user_version = {version}")
    raw.commit()
    raw.close()
    before = path.read_bytes()

    with pytest.raises(LedgerError, match="database of another program"):
        SqliteLedger(path)
    assert path.read_bytes() == before


def test_an_older_ledger_is_brought_up_to_date_with_its_rows(ledger, path):
    begin(ledger)
    later = (*STEPS, ("ALTER TABLE winds ADD COLUMN label TEXT NOT NULL DEFAULT ''",))
    bring_up_to_date(ledger._connection, path, later)

    assert ledger._connection.execute("SELECT job_id, label FROM winds").fetchall()[0]["label"] == ""
    assert ledger._connection.execute("PRAGMA user_version").fetchone()[0] == len(later)
    assert ledger.find(7).job == JOB


def test_a_ledger_of_before_the_series_keeps_its_events_and_tells_the_next_ones_apart(tmp_path):
    path = tmp_path / "older.sqlite3"
    with sqlite3.connect(path, isolation_level=None) as raw:
        bring_up_to_date(raw, path, STEPS[:2])
        raw.execute("INSERT INTO winds VALUES (7, 1, '{}', '{}', 'a', 'b', 'c', 'd', 'e', 12, 'now', NULL, 1, NULL)")
        for boot in (11, 12):
            raw.execute(
                "INSERT INTO events (job_id, at, boot, number, verb, sentence, remedy, fields)"
                " VALUES (7, 'now', ?, 1, 'layer_done', '', '', '{}')",
                (boot,),
            )
    raw.close()
    with SqliteLedger(path) as ledger:
        assert [(event.boot, event.series) for event in ledger.events(7)] == [(11, 1), (12, 1)]
        assert not ledger.record_event(7, 12, LAYER_DONE)
        ledger.begin_series(7, 12, port="p")
        assert ledger.record_event(7, 12, LAYER_DONE)


def test_a_step_that_fails_leaves_the_layout_as_it_was(ledger, path):
    begin(ledger)
    broken = (*STEPS, ("ALTER TABLE winds ADD COLUMN label TEXT", "ALTER TABLE absent ADD COLUMN label TEXT"))
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        bring_up_to_date(ledger._connection, path, broken)

    assert ledger._connection.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)
    assert "label" not in [row["name"] for row in ledger._connection.execute("PRAGMA table_info(winds)")]
    assert ledger._connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID


OPENER = """
import sys
from pathlib import Path
sys.path[:0] = {path!r}
from reelwright.ledger.sqlite import SqliteLedger
print('ready', flush=True)
sys.stdin.readline()
with SqliteLedger(Path(sys.argv[1])) as ledger:
    ledger.open_wind(int(sys.argv[2]), job={{}}, plan={{}}, port='p', board='b', firmware='f', protocol='1', boot=1)
"""


def test_several_programs_may_make_the_same_ledger_at_once(path):
    children = [
        subprocess.Popen(
            [sys.executable, "-c", OPENER.format(path=sys.path), str(path), str(job_id)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for job_id in range(1, 7)
    ]
    for child in children:
        child.stdout.readline()
    for child in children:
        child.stdin.write("go\n")
        child.stdin.flush()
    for child in children:
        child.communicate(timeout=30)

    assert [child.returncode for child in children] == [0] * len(children)
    with SqliteLedger(path) as ledger:
        assert {record.job_id for record in ledger.winds()} == set(range(1, 7))


def test_closing_twice_does_nothing(path):
    ledger = SqliteLedger(path)
    ledger.close()
    ledger.close()
