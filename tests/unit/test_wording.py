"""Text from outside made harmless, and numbers as a person reads them."""

import math

import attrs
import pytest

import shown_wind
from reelwright.views.quantities import duration, with_uncertainty
from reelwright.views.untrusted import plain_text
from reelwright.views.wording import closing_sentence, facts_of, saying_of_state
from reelwright.winding.nouns import count_of
from windlink import codes
from windlink.sentences import DOUBTS, OUTCOMES, STATES, TRIPS


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("plain", "plain"),
        ("\x1b[1;31mred\x1b[0m", "red"),
        ("\x1b]8;;http://example.org\x1b\\link\x1b]8;;\x1b\\", "link"),
        ("\x9b2Jgone", "gone"),
        ("\x1bPq#0\x1b\\sixel", "sixel"),
        ("a\tb\r\nc\u2028d", "a b c d"),
        ("bell\x07 back\x08 del\x7f nul\x00", "bell back del nul"),
        ("\u202ereversed\u2066", "reversed"),
        ("half \ud800 of a pair", "half  of a pair"),
        ("\x1b", ""),
        ("Größe ± 5 µm 卷", "Größe ± 5 µm 卷"),
    ],
)
def test_text_from_outside_is_one_harmless_line(sent, shown):
    assert plain_text(sent) == shown


@pytest.mark.parametrize(
    ("value", "standard_u", "told"),
    [
        # JCGM 100:2008, 7.2.4: m_s = 100.021 47 g with u_c = 0.35 mg, U = 0.79 mg there with k = 2.26; with k = 2
        # it is 0.70 mg. Two digits of U, and the value to the same place, as 7.2.6 asks.
        (100021.47, 0.35, "100021.47 ± 0.70 mg"),
        (40.0049, 0.155, "40.00 ± 0.31 mg"),
        (1234.5, 60.0, "1234 ± 120 mg"),
        (5.0, 0.0, "5.00 mg"),
        (5.0, math.nan, "5.00 mg"),
        (None, 0.1, "-"),
        (math.inf, 0.1, "-"),
    ],
)
def test_a_value_carries_two_digits_of_its_expanded_uncertainty(value, standard_u, told):
    assert with_uncertainty(value, standard_u, "mg") == told


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (0.0, "0 s"),
        (3.2, "4 s"),
        (59.5, "1 min 00 s"),
        (7799.0, "2 h 09 min"),
        (None, "-"),
        (-1.0, "-"),
        (math.nan, "-"),
    ],
)
def test_a_time_to_go_is_never_told_too_short(seconds, told):
    assert duration(seconds) == told


def test_a_count_agrees_with_its_noun():
    assert [count_of(count, "layer") for count in (0, 1, 2)] == ["0 layers", "1 layer", "2 layers"]


RESTING = attrs.evolve(shown_wind.REACHED, state="waiting", outcome="")


@pytest.mark.parametrize("trip", TRIPS.values(), ids=lambda saying: saying.word)
def test_each_trip_is_told_with_what_it_means_and_what_to_do(trip):
    told = closing_sentence(attrs.evolve(RESTING, state="tripped", trip=trip.word))

    assert told.startswith(f"Tripped ({trip.word}). ")
    assert trip.sentence in told
    assert trip.remedy in told


@pytest.mark.parametrize("trip", TRIPS.items(), ids=lambda item: item[1].word)
def test_a_trip_that_spoils_the_count_puts_a_caution_beside_it(trip):
    code, saying = trip
    cautions = [text for name, text in facts_of(attrs.evolve(RESTING, trip=saying.word)) if name == "caution"]
    spoils = (codes.NO_PULSES, codes.BACKWARDS, codes.RUN_OUT, codes.SLIP, codes.BAD_SENSOR, codes.LOST_STEPS)
    assert cautions == ([DOUBTS[code]] if code in spoils else [])


@pytest.mark.parametrize("outcome", OUTCOMES.values(), ids=lambda saying: saying.word)
def test_each_outcome_is_a_sentence(outcome):
    assert closing_sentence(attrs.evolve(RESTING, state="finished", outcome=outcome.word)) == outcome.sentence


def test_a_wind_at_rest_before_its_target_can_go_on():
    assert closing_sentence(RESTING) == "At rest before the target; the job can go on."


def test_words_of_a_newer_winder_are_shown_as_they_are():
    assert closing_sentence(attrs.evolve(RESTING, trip="too_warm")) == "Tripped (too_warm)."
    assert saying_of_state("dozing") is None
    assert all(saying_of_state(saying.word) is saying for saying in STATES.values())
