"""What it takes to agree to a count after a restart."""

from __future__ import annotations

import pytest

from reelwright.cli.agreement import MOST_AGREED_TURNS, Consent, Proposal


def proposal(in_doubt_turns: float, *, counted: bool = False) -> Proposal:
    return Proposal(
        pulses=200,
        turns=10.0,
        length_m=1.6,
        uncertain_turns=in_doubt_turns,
        known_lowest=10.0,
        known_highest=10.0 + in_doubt_turns,
        counted=counted,
        in_doubt_turns=in_doubt_turns,
    )


@pytest.mark.parametrize("in_doubt_turns", [0.0, 0.5, MOST_AGREED_TURNS])
def test_a_word_agrees_to_a_small_doubt(in_doubt_turns: float) -> None:
    assert proposal(in_doubt_turns).agreed_by(Consent(agree=True))
    assert not proposal(in_doubt_turns).agreed_by(Consent())


@pytest.mark.parametrize("in_doubt_turns", [MOST_AGREED_TURNS + 0.01, 17.99523, 250.0])
def test_a_large_doubt_is_agreed_to_by_its_size_only(in_doubt_turns: float) -> None:
    large = proposal(in_doubt_turns)
    assert not large.agreed_by(Consent(agree=True))
    assert not large.agreed_by(Consent(agree=True, within_turns=in_doubt_turns - 0.02))
    assert large.agreed_by(Consent(within_turns=large.within_turns))
    assert in_doubt_turns <= large.within_turns < in_doubt_turns + 0.011


def test_a_count_by_eye_is_agreed_to_by_a_word_unless_it_contradicts_what_is_known() -> None:
    assert proposal(0.0, counted=True).agreed_by(Consent(agree=True, counted=(10.0, 0.5)))
    assert not proposal(0.1, counted=True).agreed_by(Consent(agree=True, counted=(9.4, 0.5)))
    assert proposal(0.1, counted=True).agreed_by(Consent(within_turns=0.1, counted=(9.4, 0.5)))


def test_a_limit_given_with_a_word_is_kept_to() -> None:
    assert not proposal(1.5).agreed_by(Consent(agree=True, within_turns=1.0))
