"""What a code says to a person, also one of a newer version, and what a board with these pins can do."""

from __future__ import annotations

import pytest

from windlink import codes
from windlink.pins import capabilities
from windlink.sentences import STATES, code_of, say


def test_a_code_says_its_word_and_sentence_and_the_word_leads_back_to_it() -> None:
    for code, saying in STATES.items():
        assert say(STATES, code) is saying
        assert code_of(STATES, saying.word) == code
    with pytest.raises(KeyError):
        code_of(STATES, "asleep")


def test_a_code_that_the_program_does_not_know_says_so_and_what_to_do() -> None:
    unknown = say(STATES, 99)
    assert unknown.word == "code_99"
    assert unknown.sentence == "Code 99, which this program does not know."
    assert unknown.remedy == "Update this program."


@pytest.mark.parametrize(
    ("pins", "able"),
    [
        ({}, 0),
        ({"sensor_a": 2}, 0),
        ({"motor_pwm": 4}, codes.CAN_DC),
        ({"lamp": 5}, codes.CAN_HAND),
        ({"lamp": 5, "buzzer": 6}, codes.CAN_HAND),
        ({"step": 4, "sensor_a": 2, "sensor_b": 3}, codes.CAN_STEPPER | codes.CAN_QUADRATURE),
    ],
    ids=str,
)
def test_a_board_can_do_what_its_pins_are_for(pins: dict[str, int], able: int) -> None:
    assert capabilities(pins) == able
