"""The host is killed with SIGKILL at a random moment of a wind: no acknowledged row is lost, and the wind is picked up.

The suite kills a few. `REELWRIGHT_KILLS=200 pytest -s tests/simulated/test_sigkill.py` kills two hundred;
REELWRIGHT_SEED repeats their moments, as far as the computer lets them repeat.
"""

from __future__ import annotations

import json
import os
import random
import sqlite3
import sys
import time
from typing import TYPE_CHECKING, Any

import pytest

from reelwright.errors import EXIT_PAUSED
from reelwright.ledger.sqlite import SqliteLedger
from simulated.winder import simulated, start_wind, wind, write_job

if TYPE_CHECKING:
    import subprocess
    from pathlib import Path

    from reelwright.ledger import WindRecord

KILLS = int(os.environ.get("REELWRIGHT_KILLS", "4"))
SEED = int(os.environ.get("REELWRIGHT_SEED", "0")) or random.randrange(1, 1 << 30)
TARGET = 1050
TIMEOUT_S = 600  # of one command, on a computer that does much else
START_S = 2.0  # within which a command loads its job and starts it
TRIES = 5  # at sixty times real speed, a busy computer is silent for long enough to be taken for lost
LINES = 90  # of output, from the first progress to the end


def until_killed(program: subprocess.Popen[str], draw: random.Random) -> list[dict[str, Any]]:
    """Kill the program at a random time after its start, or after a random line; all that it told whole."""
    assert program.stdout is not None
    told = []
    if draw.random() < 0.5:
        time.sleep(draw.uniform(0, START_S))
    else:
        for _ in range(draw.randrange(1, LINES)):
            told.append(program.stdout.readline())
    program.kill()
    told += program.stdout.readlines()
    program.communicate()
    return [json.loads(line) for line in told if line.endswith("\n")]


def check_ledger(folder: Path, told: list[dict[str, Any]], seed: int) -> list[WindRecord]:
    """The ledger's file is sound, and every event and result that was told stands in it; its winds, newest first."""
    path = folder / "ledger.sqlite3"
    if not path.exists():
        assert told == [], seed
        return []
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)], seed
    if not connection.execute("SELECT name FROM sqlite_master").fetchall():  # killed before the first table was there
        connection.close()
        assert told == [], seed
        return []
    kept = set(connection.execute("SELECT number, verb, sentence FROM events"))
    connection.close()
    for each in told:
        if each["kind"] == "event":
            assert (each["number"], each["verb"], each["sentence"]) in kept, (seed, each)
    with SqliteLedger(path) as ledger:
        winds = ledger.winds()
    results = [each["counted_pulses"] for each in told if each["kind"] == "result"]
    if results:  # a later one takes the place of one at rest
        assert counted(winds[0]) == results[-1], seed
    return winds


def counted(record: WindRecord) -> int | None:
    """The pulses of a wind's result, None while it has none."""
    return record.result.counted_pulses if record.result else None


def kill_in_a_wind(folder: Path, seed: int) -> tuple[str, int]:
    """One wind with one kill in it, and all of it checked. When it was killed, and how many rows were acknowledged."""
    folder.mkdir()
    draw = random.Random(seed)
    link_loss = draw.choice(("pause", "wind_on"))
    job = write_job(folder, link_loss=link_loss, pauses="[1, 2]")
    truth_path = folder / "truth.jsonl"
    with simulated(job, folder, "--pace", "60", "--truth", str(truth_path)) as port:
        told = until_killed(start_wind(job, port, folder, "--go-on"), draw)
        winds = check_ledger(folder, told, seed)
        if any(each.result is not None and each.result.state == "finished" for each in winds):
            moment = "after its end"
        else:
            moment = "while it wound" if told else "while it began"
            # the winder sees the silence in its own time, and may be winding on
            code = EXIT_PAUSED
            for _ in range(TRIES):
                if code == EXIT_PAUSED:
                    code, later, err = wind(job, port, folder, "--go-on", timeout_s=TIMEOUT_S)
                    told += later
            assert code == 0, (seed, code, err)
    winds = check_ledger(folder, told, seed)
    truth = json.loads(truth_path.read_text().splitlines()[-1])
    assert abs(truth["true_pulses"] - TARGET) <= 1, (seed, truth)
    assert counted(winds[0]) == truth["true_pulses"], seed
    assert [each.open for each in winds] == [False] * len(winds), seed
    # a job that was entered and never begun leaves an empty record behind
    assert [counted(each) for each in winds[1:]] == [0] * (len(winds) - 1), seed
    with SqliteLedger(folder / "ledger.sqlite3") as ledger:
        numbers = [each.happening.number for each in ledger.events(winds[0].job_id) if each.happening.number]
    assert numbers == list(range(1, len(numbers) + 1)), (seed, "every event once")
    return moment, sum(each["kind"] != "progress" for each in told)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a thing of POSIX")
def test_no_acknowledged_row_is_lost_and_the_next_command_picks_the_wind_up(tmp_path: Path) -> None:
    print(f"seed {SEED}")
    draw = random.Random(SEED)
    moments: dict[str, int] = {}
    acknowledged = 0
    for number in range(KILLS):
        moment, rows = kill_in_a_wind(tmp_path / str(number), draw.randrange(1 << 30))
        moments[moment] = moments.get(moment, 0) + 1
        acknowledged += rows
    print(f"{KILLS} kills {moments}; {acknowledged} rows acknowledged, none lost, integrity sound")
