"""The three faces of a wind: what each one writes, to the letter where programs or logs read it."""

import io
import json
import math
import os

import attrs
import pytest
from rich.console import Console

from reelwright.json_text import json_text
from reelwright.snapshot import Happening, Snapshot, WindResult
from reelwright.views.json_lines import JsonView
from reelwright.views.live import LiveView
from reelwright.views.plain import PlainView
from reelwright.views.screen import Screen

WINDING = Snapshot(
    state="winding",
    pulses=7068,
    layer=4,
    layer_turns=13.4,
    layer_turns_planned=34.8,
    layers_planned=5,
    turns=117.8,
    turns_planned=168.4,
    length_m=27.64,
    length_planned_m=40.0,
    rpm=96.2,
    line_speed_m_s=0.39,
    seconds_left=93.2,
    next_stop_turns=139.2,
)
LAYER_DONE = Happening(6, "layer_done", "Layer 3 is full.", {"time_ms": 61250, "layer": 3, "pulses": 6264})
SNAGGED = Happening(7, "tripped", "The strand is caught.", {"reason": 5}, "Free the strand.")
REACHED = WindResult(
    job_id=20310504,
    state="finished",
    outcome="reached",
    target_pulses=10104,
    counted_pulses=10105,
    turns=168.417,
    layers=5,
    length_m=40.0049,
    length_u_m=0.155,
    mass_g=119.42,
    mass_u_g=1.61,
    phase_turns=5.583,
)
TRIPPED = attrs.evolve(REACHED, state="tripped", outcome="", counted_pulses=9000, trip="snag", uncertain=True)


class Terminal(io.StringIO):
    """Text that claims to be on a terminal."""

    encoding = "utf-8"

    def isatty(self):
        return True


class HandClock:
    """A clock that stands until it is told to go."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s


def plain(clock=None):
    out = io.StringIO()
    return out, PlainView(out, io.StringIO(), "Forty metres", clock or HandClock())


def live(width=80, clock=None):
    out = Terminal()
    return out, LiveView(out, io.StringIO(), "Forty metres", clock=clock or HandClock(), width=width)


def interrupted():
    """What Ctrl-C does to whatever runs."""
    raise KeyboardInterrupt


def on_screen(screen, width=80):
    console = Console(width=width, file=io.StringIO(), color_system=None)
    console.print(screen)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


# --- plain lines --------------------------------------------------------------------------------------------


def test_plain_lines_tell_a_whole_wind():
    out, view = plain()
    with view:
        view.progress(WINDING)
        view.event(LAYER_DONE)
        view.notice("The winder answers again.")
        view.event(Happening(0, "note", "The host gave up waiting."))
        view.result(REACHED)

    assert out.getvalue().splitlines() == [
        "Forty metres",
        (
            "progress: winding, layer 4 of 5, 13.4 of 34.8 turns of the layer, 117.8 of 168.4 turns, "
            "27.64 of 40.00 m, 96.2 rpm, 0.39 m/s, 1 min 34 s left"
        ),
        "event 6: Layer 3 is full.",
        "note: The winder answers again.",
        "event: The host gave up waiting.",
        "result: The target was reached.",
        "  counted: 40.00 ± 0.31 m, k = 2",
        "  mass: 119.4 ± 3.2 g, k = 2",
        "  turns: 168.42 in 5 layers",
        "  pulses: 10105, 1 beyond the target of 10104",
        "  guide: 5.58 turns before its next reversal",
        "  job: 20310504",
    ]


def test_plain_progress_comes_once_a_second_however_often_it_is_told():
    clock = HandClock()
    out, view = plain(clock)
    for tenth in range(35):
        clock.now_s = 100 + tenth / 10
        view.progress(attrs.evolve(WINDING, pulses=tenth))

    assert out.getvalue().count("progress:") == 4  # at 100, 101, 102 and 103 s


def test_plain_progress_keeps_silent_while_nothing_changes():
    clock = HandClock()
    out, view = plain(clock)
    for second in range(10):
        clock.now_s = 100.0 + second
        view.progress(WINDING)

    assert out.getvalue().count("progress:") == 1


def test_a_trip_is_told_with_its_reason_its_remedy_and_its_doubt():
    out, view = plain()
    view.event(SNAGGED)
    view.result(TRIPPED)

    text = out.getvalue()
    assert "event 7: The strand is caught. Free the strand.\n" in text
    assert "result: Tripped (snag). The strand pulls too hard: it is caught. Free the strand at the pay-off" in text
    assert "  pulses: 9000, 1104 short of the target of 10104\n" in text
    assert "did not confirm it at rest" in text


def test_plain_lines_hold_no_control_characters_whatever_the_device_sends():
    out, view = plain()
    view.event(Happening(1, "began", "\x1b[2J\x1b]0;title\x07Winding\r\nbegan\x08\x9b31m"))
    view.notice("\x00\u202egnp.exe\n\x1b[31mred")

    assert out.getvalue() == "event 1: Winding began\nnote: gnp.exe red\n"


# --- JSON lines ---------------------------------------------------------------------------------------------


def test_json_lines_are_exactly_these():
    out, err = io.StringIO(), io.StringIO()
    with JsonView(out, err) as view:
        view.progress(WINDING)
        view.event(LAYER_DONE)
        view.notice("Only\nfor people.")
        view.result(REACHED)

    assert out.getvalue().splitlines() == [
        (
            '{"kind": "progress", "format": 1, "state": "winding", "layer": 4, "layer_turns": 13.4, "turns": 117.8, '
            '"length_m": 27.64, "rpm": 96.2, "line_speed_m_s": 0.39, "seconds_left": 93.2}'
        ),
        (
            '{"kind": "event", "format": 1, "number": 6, "verb": "layer_done", "time_ms": 61250, "layer": 3, '
            '"pulses": 6264, "sentence": "Layer 3 is full.", "remedy": ""}'
        ),
        (
            '{"kind": "result", "format": 1, "state": "finished", "outcome": "reached", "target_pulses": 10104, '
            '"counted_pulses": 10105, "overshoot_pulses": 1, "turns": 168.417, "layers": 5, "length_m": 40.0049, '
            '"length_u_m": 0.155, "mass_g": 119.42, "mass_u_g": 1.61, "job_id": 20310504, "trip": "", '
            '"uncertain": false, "uncertain_turns": 0.0, "phase_turns": 5.583, "doubts": [], '
            '"count_known": true, "length_lowest_m": 39.6949, "length_highest_m": 40.3149, '
            '"mass_lowest_g": 116.2, "mass_highest_g": 122.64}'
        ),
    ]
    assert err.getvalue() == "Only for people.\n"


def test_json_never_holds_nan_or_infinity_which_the_standard_forbids():
    out = io.StringIO()
    JsonView(out, io.StringIO()).progress(attrs.evolve(WINDING, rpm=math.nan, seconds_left=math.inf))

    told = json.loads(out.getvalue(), parse_constant=pytest.fail)
    assert told["rpm"] is None
    assert told["seconds_left"] is None


def test_json_of_hostile_text_is_one_line_of_ascii_and_keeps_its_own_fields():
    out = io.StringIO()
    hostile = Happening(9, "began", "\x1b[2J\nü\u2028", {"kind": "result", "number": 0, "pulses": 5})
    JsonView(out, io.StringIO()).event(hostile)

    line = out.getvalue()
    assert line.isascii()
    assert line.count("\n") == 1
    assert "\x1b" not in line
    told = json.loads(line)
    assert (told["kind"], told["number"], told["pulses"]) == ("event", 9, 5)


def test_json_refuses_what_has_no_place_in_it():
    with pytest.raises(TypeError):
        json_text({"a": object()})


def test_each_json_line_is_there_at_once_for_a_reader_in_a_pipe():
    reader, writer = os.pipe()
    with os.fdopen(writer, "w") as out, os.fdopen(reader) as incoming:
        JsonView(out, io.StringIO()).progress(WINDING)
        assert json.loads(incoming.readline())["kind"] == "progress"


# --- the live view ------------------------------------------------------------------------------------------


def test_the_live_picture_at_80_columns():
    screen = Screen("Forty metres", WINDING, (LAYER_DONE,))

    assert on_screen(screen) == [
        "Forty metres",
        " winding   The spool turns under drive.",
        "",
        "layer 4 of 5  ━━━━━━━━━━━━━━━━╸                               13.4 of 34.8 turns",
        "whole job     ━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━╸               117.8 of 168.4 turns",
        "",
        "counted       27.64 of 40.00 m              line speed  0.39 m/s",
        "next stop     in 21.4 turns                 spool       96.2 rpm",
        "time left     1 min 34 s",
        "",
        "6  Layer 3 is full.",
        "",
        "p pause   g go on   a abandon   c clear   Ctrl-C rest and leave",
    ]


def test_the_live_picture_at_40_columns():
    screen = Screen("Forty metres", WINDING, (LAYER_DONE,))

    assert on_screen(screen, 40) == [
        "Forty metres",
        " winding   The spool turns under drive.",
        "",
        "layer 4 of 5  13.4 of 34.8 turns",
        "━━━━━━━━━━━━━━━",
        "whole job  117.8 of 168.4 turns",
        "━━━━━━━━━━━━━━━━━━━━━━━━━━━╸",
        "",
        "counted     27.64 of 40.00 m",
        "next stop   in 21.4 turns",
        "time left   1 min 34 s",
        "line speed  0.39 m/s",
        "spool       96.2 rpm",
        "",
        "6  Layer 3 is full.",
        "",
        "p pause   g go on   a abandon   c clear",
        "Ctrl-C rest and leave",
    ]


@pytest.mark.parametrize("width", [40, 41, 63, 64, 80, 200])
@pytest.mark.parametrize("result", [None, REACHED, TRIPPED])
def test_no_line_of_the_live_picture_is_wider_than_the_terminal(width, result):
    far = attrs.evolve(WINDING, layer=120, layers_planned=240, turns=88888.8, turns_planned=99999.9, seconds_left=4e5)
    wordy = Happening(7, "tripped", "The strand is caught. " * 4, {}, "Free it.")
    lines = on_screen(Screen("A long name of a job " * 9, far, (wordy,) * 5, result), width)

    assert max(map(len, lines)) <= width
    assert len(lines) < 60


def test_the_newest_event_is_told_whole_and_the_older_ones_keep_to_a_line():
    wordy = Happening(7, "tripped", "The strand is caught at the pay-off spool.", {}, "Free it, then clear the trip.")
    text = "\n".join(on_screen(Screen("", None, (wordy, attrs.evolve(wordy, number=8))), 40))

    assert text.count("…") == 1
    assert "then" in text
    assert "clear the trip." in text


def test_before_the_first_word_of_the_winder_the_view_says_so():
    assert "Nothing heard from the winder yet." in on_screen(Screen("Forty metres", None))


def test_markup_and_escapes_from_outside_stay_letters():
    lines = on_screen(Screen("[bold]job[/bold] \x1b[31m:boom:", attrs.evolve(WINDING, state="[red]new"), (LAYER_DONE,)))

    assert lines[0] == "[bold]job[/bold] :boom:"
    assert lines[1] == " [red]new"


def test_a_wind_of_no_turns_or_of_more_than_planned_still_draws():
    none = attrs.evolve(WINDING, turns=0.0, turns_planned=0.0, layer_turns=-0.5, rpm=math.nan, seconds_left=None)
    over = attrs.evolve(WINDING, turns=170.0)

    assert "time left     -" in on_screen(Screen("", none))
    assert any("170.0 of 168.4 turns" in line for line in on_screen(Screen("", over)))


def test_the_live_view_redraws_at_most_eight_times_a_second():
    clock = HandClock()
    out, view = live(clock=clock)
    with view:
        begun = out.getvalue().count("whole job")
        for step in range(1000):
            clock.now_s = 100.0 + step / 1000
            view.progress(attrs.evolve(WINDING, pulses=step))
        drawn = out.getvalue().count("whole job") - begun

    assert drawn == 8


def test_the_live_result_stays_on_the_terminal_and_the_keys_go():
    out, view = live()
    with view:
        view.progress(WINDING)
        view.result(REACHED)

    last = out.getvalue().rpartition("Forty metres")[2]
    assert "The target was reached." in last
    assert "40.00 ± 0.31 m, k = 2" in last
    assert "abandon" not in last


def test_a_picture_of_nothing_does_not_stay_above_an_error():
    out, view = live()
    with pytest.raises(KeyboardInterrupt), view:
        interrupted()

    drawn, cleared = out.getvalue().rpartition("Nothing heard from the winder yet.")[::2]
    assert drawn
    assert cleared.count("\x1b[1A\x1b[2K") == len(on_screen(Screen("Forty metres", None, with_keys=False)))


def test_a_result_of_which_no_progress_was_heard_stands_without_that_line():
    lines = on_screen(Screen("Forty metres", None, (), REACHED))

    assert "The target was reached." in lines
    assert not any("Nothing heard" in line for line in lines)


def test_the_cursor_comes_back_after_ctrl_c():
    out, view = live()
    with pytest.raises(KeyboardInterrupt), view:
        interrupted()

    assert out.getvalue().rindex("\x1b[?25h") > out.getvalue().rindex("\x1b[?25l")


def test_a_second_ctrl_c_in_the_last_redraw_still_brings_the_cursor_back(monkeypatch):
    out, view = live()
    with pytest.raises(KeyboardInterrupt), view:
        monkeypatch.setattr(view._live, "stop", interrupted)

    assert out.getvalue().endswith("\x1b[?25h")
    monkeypatch.undo()
    view._live.stop()


def test_a_notice_is_shown_above_the_live_picture():
    out, view = live()
    with view:
        view.notice("[b]The winder\x1b[5m answers again.")

    assert "note: [b]The winder answers again." in out.getvalue()


CLEARED = "\x1b[2J\x1b[H"


def test_a_watcher_is_shown_no_keys():
    assert not any("abandon" in line for line in on_screen(Screen("", WINDING, with_keys=False)))


def test_a_terminal_that_changes_its_size_keeps_no_fragment_of_the_old_picture():
    out, view = live()
    with view:
        view.progress(WINDING)
        assert CLEARED not in out.getvalue()
        view._console.size = (50, 40)
        view.event(LAYER_DONE)
        assert out.getvalue().count(CLEARED) == 1
        before, _, after = out.getvalue().rpartition(CLEARED)
        assert "whole job" in before
        assert "whole job" in after
        view.event(LAYER_DONE)
        assert out.getvalue().count(CLEARED) == 1
