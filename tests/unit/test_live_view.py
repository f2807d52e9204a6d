"""The live face of a wind: what stands on the terminal, and what stays there."""

import io
import math
from datetime import datetime

import attrs
import pytest
from rich.console import Console

from reelwright.snapshot import Happening
from reelwright.views.keys import ONLY_END_WAIT
from reelwright.views.live import LiveView
from reelwright.views.screen import Screen
from shown_wind import LAYER_DONE, REACHED, TRIPPED, WINDING, HandClock, Terminal


def live(width=80, clock=None, **how):
    out = Terminal()
    return out, LiveView(out, io.StringIO(), "Forty metres", clock=clock or HandClock(), width=width, **how)


def interrupted():
    """What Ctrl-C does to whatever runs."""
    raise KeyboardInterrupt


def on_screen(screen, width=80):
    console = Console(width=width, file=io.StringIO(), color_system=None)
    console.print(screen)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


def test_the_live_picture_at_80_columns():
    screen = Screen("Forty metres", WINDING, (LAYER_DONE,))

    assert on_screen(screen) == [
        "Forty metres",
        " winding   The spool turns under drive.",
        "",
        "layer 4 of 5  ━━━━━━━━━━━━━━━━                              13.40 of 34.80 turns",
        "whole job     ━━━━━━━━━━━━━━━━━━━━━━━━━━━━━               117.80 of 168.40 turns",
        "",
        "counted       27.64 of 40.00 m              line speed  0.39 m/s",
        "next stop     in 21.40 turns                spool       96.2 rpm",
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
        "layer 4 of 5  13.40 of 34.80 turns",
        "━━━━━━━━━━━━━━━",
        "whole job  117.80 of 168.40 turns",
        "━━━━━━━━━━━━━━━━━━━━━━━━━━━╸",
        "",
        "counted     27.64 of 40.00 m",
        "next stop   in 21.40 turns",
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
    assert any("170.00 of 168.40 turns" in line for line in on_screen(Screen("", over)))


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


def test_what_is_no_longer_heard_is_not_shown_as_what_is():
    lines = on_screen(Screen("Forty metres", WINDING, keys=ONLY_END_WAIT, last_heard="14:03:07"))

    assert lines[1] == " not heard   Last heard at 14:03:07: winding."
    assert lines[6:9] == [
        "counted       27.64 of 40.00 m              line speed  - m/s",
        "next stop     in 21.40 turns                spool       - rpm",
        "time left     -",
    ]
    assert lines[-1] == "Ctrl-C end the waiting"


def test_the_live_view_tells_when_it_heard_last_until_it_hears_again():
    moments = [datetime(2031, 5, 4, 14, 3, second).astimezone() for second in (0, 7, 50)]
    clock = HandClock()
    out, view = live(clock=clock, now=iter(moments).__next__)
    with view:
        view.progress(WINDING)
        view.silence()
        lost = out.getvalue()
        view.progress(WINDING)

    assert "Last heard at 14:03:07: winding." in lost
    assert "96.2" not in lost.rpartition("Last heard")[2]
    again = out.getvalue()[len(lost) :]
    assert "Last heard" not in again
    assert "96.2" in again
    assert "pause" in again


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
    assert cleared.count("\x1b[1A\x1b[2K") == len(on_screen(Screen("Forty metres", None, keys=())))


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
    assert not any("abandon" in line for line in on_screen(Screen("", WINDING, keys=())))


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
