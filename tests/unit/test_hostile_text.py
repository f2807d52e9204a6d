"""Whatever a person, a file or a ledger holds: on a terminal it steers nothing."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import unicodedata
from typing import TYPE_CHECKING

import pytest

from reelwright.ledger.sqlite import SqliteLedger
from reelwright.snapshot import Happening
from reelwright.views.untrusted import plain_lines

if TYPE_CHECKING:
    from pathlib import Path

HOSTILE = "a\x1b[31mb\x1b]0;title\x07c\x9b2Jd[bold red]e\u202ef\u2066g\rh\x08i"
JOB = """
[take_up]
name = "blue [bold red]spool[/]"
barrel_diameter_mm = 50
flange_diameter_mm = 90
inside_width_mm = 40
[strand]
diameter_mm = 1.75
[machine]
turns_per_layer = "21"
pulses_per_turn = 20
drive = "dc"
[target]
layers = 0.1
"""

posix = pytest.mark.skipif(sys.platform == "win32", reason="looks at a terminal through a pty")


def on_terminal(home: Path, *words: str) -> str:
    """What a command shows on a terminal without colours, where nothing strips sequences on the way."""
    ours, theirs = pty.openpty()
    program = subprocess.Popen(
        [sys.executable, "-m", "reelwright", *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=home,
        env={**os.environ, "REELWRIGHT_HOME": str(home), "COLUMNS": "200", "NO_COLOR": "1", "TERM": "dumb"},
    )
    os.close(theirs)
    shown = b""
    try:
        while program.poll() is None or select.select([ours], [], [], 0.1)[0]:
            if select.select([ours], [], [], 0.1)[0]:
                shown += os.read(ours, 65536)
    except OSError:  # the last end of the terminal is closed
        pass
    finally:
        program.kill()
        program.wait()
        os.close(ours)
    return shown.decode().replace("\r\r\n", "\n").replace("\r\n", "\n")


def steering(text: str) -> list[str]:
    """The signs of a text that steer, hide or reorder."""
    return [sign for sign in text if sign != "\n" and unicodedata.category(sign) in ("Cc", "Cf", "Cs")]


@posix
@pytest.mark.parametrize(
    "words",
    [
        ("plan", f"{HOSTILE}.toml"),
        ("plan", f"missing{HOSTILE}"),
        ("plan", f"--{HOSTILE}"),
        ("plan", "job.toml", "--length", HOSTILE),
        ("plan", "--spool", HOSTILE, "--machine", "bench-dc", "--strand", "pla-1.75", "--length", "4m"),
        (HOSTILE,),
        ("wind", "job.toml", "--port", f"/dev/{HOSTILE}"),
        ("wind", "job.toml", "--port", f"socket://{HOSTILE}"),
        ("wind", "job.toml", "--transcript", f"/nowhere/{HOSTILE}", "--port", "/dev/null"),
        ("watch", "--port", HOSTILE),
        ("simulate", "job.toml", "--truth", f"/nowhere/{HOSTILE}"),
        ("simulate", "job.toml", "--fault", HOSTILE),
        ("ledger", "show", HOSTILE),
        ("ledger", "export", "--csv", "-o", f"/nowhere/{HOSTILE}"),
    ],
    ids=lambda words: " ".join(word for word in words if word.isprintable())[:40],
)
def test_what_the_command_line_says_is_told_harmless(tmp_path: Path, words: tuple[str, ...]) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / f"{HOSTILE}.toml").write_text(JOB.replace("layers", f'"{HOSTILE.encode("unicode_escape").decode()}"'))
    shown = on_terminal(tmp_path, *words)
    assert shown
    assert "Traceback" not in shown
    assert steering(shown) == []


@posix
@pytest.mark.parametrize(
    "words", [("ledger",), ("ledger", "show", "7"), ("ledger", "show", "7", "--json"), ("ledger", "export", "--csv")]
)
def test_what_the_ledger_holds_is_told_harmless(tmp_path: Path, words: tuple[str, ...]) -> None:
    with SqliteLedger(tmp_path / "ledger.sqlite3") as ledger:
        job = {"take_up": {"name": HOSTILE}, "strand": {"name": HOSTILE, "material": HOSTILE}}
        ledger.open_wind(7, job=job, plan={}, port=HOSTILE, board=HOSTILE, firmware=HOSTILE, protocol=HOSTILE, boot=1)
        ledger.record_count(7, 5, HOSTILE)
        ledger.record_event(7, 1, Happening(1, HOSTILE, HOSTILE, {"word": HOSTILE}, HOSTILE))
    shown = on_terminal(tmp_path, *words)
    assert "[bold red]" in shown, "markup is text"
    assert steering(shown) == []


@posix
def test_markup_in_a_name_is_text(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    assert "blue [bold red]spool[/]" in on_terminal(tmp_path, "plan", "job.toml")


def test_lines_keep_their_breaks_and_their_indent() -> None:
    assert plain_lines("job has 2 faults:\n  a\x1b[2J: b\n  c\u202e: d") == "job has 2 faults:\n  a: b\n  c: d"
