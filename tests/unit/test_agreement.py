"""What it takes to agree to a count after a restart."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from reelwright.cli.agreement import MOST_AGREED_TURNS, Consent, NotAgreedError, Proposal, ask

REJOIN = SimpleNamespace(record=SimpleNamespace(job_id=77), port_name="/dev/the winder")


def proposal(uncertain_turns: float, *, counted: bool = False, outside_turns: float = 0.0) -> Proposal:
    return Proposal(
        pulses=200,
        turns=10.0,
        length_m=1.6,
        uncertain_turns=uncertain_turns,
        known_lowest=10.0,
        known_highest=10.0 + uncertain_turns,
        counted=counted,
        outside_turns=outside_turns,
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
    assert proposal(0.5, counted=True).agreed_by(Consent(agree=True))
    outside = proposal(0.5, counted=True, outside_turns=0.6)
    assert not outside.agreed_by(Consent(agree=True))
    assert not outside.agreed_by(Consent(within_turns=0.5))
    assert outside.agreed_by(Consent(within_turns=0.6))


def test_a_count_by_eye_that_may_be_far_off_contradicts_nothing_and_yet_needs_more_than_a_word() -> None:
    vague = proposal(100.0, counted=True)
    assert not vague.agreed_by(Consent(agree=True))
    assert vague.agreed_by(Consent(within_turns=100.0))
    with pytest.raises(NotAgreedError, match=r"may be off by 100\.00 turns") as refused:
        ask(REJOIN, vague)
    whole = "reelwright wind --resume 77 --port '/dev/the winder'"
    assert f"`{whole} --counted-turns 10 --give-or-take 100 --agree-within 100`" in refused.value.remedy
    assert f"`{whole} --counted-turns TURNS --agree`" in refused.value.remedy


def test_a_limit_given_with_a_word_is_kept_to() -> None:
    assert not proposal(1.5).agreed_by(Consent(agree=True, within_turns=1.0))
