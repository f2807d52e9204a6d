"""Which face an output gets, and what happens when the output goes away under it: nothing."""

import io
import os
import subprocess
import sys

import pytest

from pictures.live_view import wind
from reelwright.cli.prose import say
from reelwright.views import choose_view
from reelwright.views.json_lines import JsonView
from reelwright.views.live import LiveView
from reelwright.views.page import terminal_page
from reelwright.views.plain import PlainView
from reelwright.views.signs import writable


class Terminal(io.StringIO):
    """Text that claims to be on a terminal."""

    encoding = "utf-8"

    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("stream", "term", "as_json", "face"),
    [
        (Terminal(), "xterm", False, LiveView),
        (Terminal(), "dumb", False, PlainView),
        (io.StringIO(), "xterm", False, PlainView),
        (Terminal(), "xterm", True, JsonView),
        (io.StringIO(), "xterm", True, JsonView),
    ],
)
def test_the_face_follows_the_output(monkeypatch, stream, term, as_json, face):
    monkeypatch.setenv("TERM", term)
    monkeypatch.setenv("FORCE_COLOR", "1")  # a wish for colour is no wish for redraws in a log

    assert type(choose_view(as_json=as_json, heading="", stream=stream, errors=io.StringIO())) is face


SCENES = """
from reelwright.snapshot import Happening, Snapshot, WindResult
WINDING = Snapshot('winding', 1, 1, 1.0, 2.0, 3, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0)
EVENT = Happening(1, 'began', 'Winding began.')
REACHED = WindResult(1, 'finished', 'reached', 1, 1, 1.0, 1, 1.0, 0.1, None, None)
"""


@pytest.mark.parametrize("face", ["plain", "json", "live"])
def test_a_reader_that_goes_away_ends_nothing(face):
    """A program shows a wind to a pipe that is closed: it goes on to its own end, with nothing to say about it."""
    program = f"""
import os, sys
sys.path[:0] = {sys.path!r}
{SCENES}
from reelwright.views.json_lines import JsonView
from reelwright.views.plain import PlainView
from reelwright.views.live import LiveView
view = dict(json=lambda: JsonView(sys.stdout, sys.stderr), plain=lambda: PlainView(sys.stdout, sys.stderr, 'x'),
            live=lambda: LiveView(sys.stdout, sys.stderr, 'x'))[{face!r}]()
sys.stdin.readline()
with view:
    for _ in range(300):
        view.progress(WINDING)
        view.event(EVENT)
    view.result(REACHED)
print('recorded', file=sys.stderr)
"""
    environment = {**os.environ, "FORCE_COLOR": "1", "TERM": "xterm"}
    child = subprocess.Popen(
        [sys.executable, "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    with child:
        child.stdout.close()
        child.stdin.write("go\n")
        child.stdin.flush()
        said = child.stderr.read()
        code = child.wait(30)

    assert (said, code) == ("recorded\n", 0)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="the system has no device that is always full")
def test_a_full_disk_is_told_once_and_the_wind_goes_on():
    err = io.StringIO()
    with open("/dev/full", "w") as full:
        view = JsonView(full, err)
        for _ in range(3):
            view.progress(wind().snapshot)

    assert err.getvalue().count("No space left on device") == 1
    assert "The wind goes on and is recorded." in err.getvalue()


def test_a_terminal_without_the_signs_gets_stand_ins_that_are_not_the_mark_of_doubt():
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii")
    PlainView(out, io.StringIO(), "x").notice("40.00 ± 0.31 m of é")

    assert b"40.00 +-0.31 m of ?\n" in raw.getvalue()


def test_a_sign_that_the_encoding_has_stays_whatever_else_it_lacks():
    assert writable("40 ± 1 m │", "latin-1") == "40 ± 1 m ?"
    assert writable("40 ± 1 m │", "utf-8") == "40 ± 1 m │"
    assert writable("40 ±\n1 m", "ascii") == "40 +-\n1 m"


def test_a_plan_says_its_error_bars_where_only_ascii_can_be_written(monkeypatch):
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    shown = terminal_page(lambda console: console.print("40.00 ± 0.31 m"))
    assert shown == "40.00 +-0.31 m\n"


def test_a_sentence_with_an_error_bar_is_told_where_only_ascii_can_be_written(monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(raw, encoding="ascii"))
    say("taken as 195 ± 55 g")
    sys.stdout.flush()
    assert raw.getvalue() == b"taken as 195 +-55 g\n"
