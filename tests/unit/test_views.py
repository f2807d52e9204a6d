"""The plain and the JSON face of a wind: what each one writes, to the letter."""

import io
import json
import math
import os

import attrs
import pytest

from reelwright.json_text import json_text
from reelwright.snapshot import Happening
from reelwright.views.json_lines import JsonView
from reelwright.views.plain import PlainView
from shown_wind import LAYER_DONE, REACHED, SNAGGED, TRIPPED, WINDING, HandClock


def plain(clock=None):
    out = io.StringIO()
    return out, PlainView(out, io.StringIO(), "Forty metres", clock or HandClock())


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
            "progress: winding, layer 4 of 5, 13.40 of 34.80 turns of the layer, 117.80 of 168.40 turns, "
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
            '"length_m": 27.64, "rpm": 96.2, "line_speed_m_s": 0.39, "seconds_left": 93.2, "mean_rpm": 96.2}'
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
            '"mass_lowest_g": 116.2, "mass_highest_g": 122.64, "agreed_within_turns": 0.0, "turns_lowest": 168.417, '
            '"turns_highest": 168.417, "turns_likely": null}'
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
