"""That a search tries few of the trains there are: a count of those it looks at, which no slower machine changes."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from reelwright.winding import gear_search
from reelwright.winding.gear_search import Choice, WantedPitch, find_well_laying

THREE_STAGES = Choice(18, 81, 3)  # 64 numbers of teeth, (64 x 65 x 66 / 6)^2 = 2.1 thousand million trains


def question(pitch_mm: str, stroke_mm: str = "61.25", diameter_mm: str | None = "1.75") -> WantedPitch:
    diameter = None if diameter_mm is None else Fraction(diameter_mm)
    return WantedPitch(Fraction(pitch_mm), Fraction(stroke_mm), Fraction(2), diameter)


@pytest.mark.parametrize(
    ("wanted", "choice", "most"),
    [
        pytest.param(question("1.79"), THREE_STAGES, 18, id="many are near"),
        pytest.param(question("1.79", diameter_mm=None), THREE_STAGES, 18, id="any strand"),
        pytest.param(question("1.2"), THREE_STAGES, 22674, id="nearer ones climb"),
        pytest.param(question("2.6"), Choice(18, 60, 2), 1590, id="nearer ones leave gaps"),
        pytest.param(question("1.76", "7.5"), Choice(18, 40, 2), 11, id="few are near"),
        pytest.param(question("1.79", "1000"), Choice(18, 40, 2), 542, id="none is near"),
        pytest.param(question("1.7"), Choice(18, 40, 1), 46, id="none that is near is allowed"),
    ],
)
def test_a_search_looks_at_no_more_trains_than_it_must(
    monkeypatch: pytest.MonkeyPatch, wanted: WantedPitch, choice: Choice, most: int
) -> None:
    looked_at = 0
    whole = gear_search._Ranking.offer

    def offer(*arguments: Any) -> None:
        nonlocal looked_at
        looked_at += 1
        whole(*arguments)

    monkeypatch.setattr(gear_search._Ranking, "offer", offer)
    find_well_laying(wanted, choice)
    assert looked_at <= most
