"""A row that the ledger has acknowledged is still there after the program was killed, whenever that was."""

import random
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from reelwright.ledger.sqlite import SqliteLedger

KILLS = 10
WRITER = """
import sys
from pathlib import Path
sys.path[:0] = {path!r}
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import Happening
with SqliteLedger(Path(sys.argv[1])) as ledger:
    if ledger.find(1) is None:
        ledger.open_wind(1, job={{}}, plan={{}}, port='p', board='b', firmware='f', protocol='1', boot=1)
    pulses = int(sys.argv[2])
    while True:
        pulses += 1
        ledger.record_count(1, pulses, 'winding')
        ledger.record_event(1, 1, Happening(pulses, 'layer_done', 'A layer is full.'))
        print(pulses, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is a thing of POSIX")
def test_no_acknowledged_row_is_lost_over_ten_kills(tmp_path):
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    moments = random.Random(seed)
    path = tmp_path / "ledger.sqlite3"
    acknowledged = 0
    for _ in range(KILLS):
        acknowledged = write_until_killed(path, acknowledged, after_s=moments.uniform(0.0, 0.08))

        check = sqlite3.connect(path)
        assert check.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        check.close()
        with SqliteLedger(path) as ledger:
            counts = [count.pulses for count in ledger.counts(1)]
            events = [event.happening.number for event in ledger.events(1)]
        assert counts[:acknowledged] == list(range(1, acknowledged + 1))
        assert events[:acknowledged] == list(range(1, acknowledged + 1))
        # One more may have reached the disk than its program lived to say.
        assert len(events) <= len(counts) <= acknowledged + 1
        acknowledged = len(counts)
        fill_in_the_event(path, acknowledged)
    assert acknowledged > KILLS


def write_until_killed(path, last, after_s):
    """Lets a program write, kills it some time after its first row, and returns the last row that it said was kept."""
    child = subprocess.Popen(
        [sys.executable, "-c", WRITER.format(path=sys.path), str(path), str(last)], stdout=subprocess.PIPE, text=True
    )
    with child:
        said = [child.stdout.readline()]
        time.sleep(after_s)
        child.send_signal(signal.SIGKILL)
        said += child.stdout.read().splitlines(keepends=True)
    whole = [int(line) for line in said if line.endswith("\n")]
    return whole[-1]


def fill_in_the_event(path, number):
    """A kill between a count and its event leaves the event out; the next round counts on from both."""
    from reelwright.snapshot import Happening

    with SqliteLedger(path) as ledger:
        ledger.record_event(1, 1, Happening(number, "layer_done", "A layer is full."))
