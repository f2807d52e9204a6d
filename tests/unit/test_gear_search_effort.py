"""That a search tries few of the trains there are: a count of pitches reckoned, which no slower machine changes."""

from __future__ import annotations

from fractions import Fraction

import pytest

from reelwright.winding import gear_search
from reelwright.winding.gear_search import Choice, WantedPitch, find_trains, find_well_laying

THREE_STAGES = Choice(18, 81, 3)  # 64 numbers of teeth, (64 x 65 x 66 / 6)^2 = 2.1 thousand million trains


def question(
    pitch_mm: str, stroke_mm: str = "61.25", diameter_mm: str | None = "1.75", tolerance: str = "1/100"
) -> WantedPitch:
    diameter = None if diameter_mm is None else Fraction(diameter_mm)
    return WantedPitch(Fraction(pitch_mm), Fraction(stroke_mm), Fraction(2), diameter, Fraction(tolerance))


@pytest.mark.parametrize(
    ("wanted", "choice", "most"),
    [
        pytest.param(question("1.79"), THREE_STAGES, 17044, id="many are near"),
        pytest.param(question("1.79", diameter_mm=None), THREE_STAGES, 17044, id="any strand"),
        pytest.param(question("1.2"), THREE_STAGES, 28488, id="nearer ones climb"),
        pytest.param(question("4.0001", "20", tolerance="0"), Choice(18, 60, 2), 1277, id="nearer ones leave gaps"),
        pytest.param(question("0.5", "20"), Choice(18, 60, 2), 830, id="far nearer ones climb"),
        pytest.param(question("2.6"), Choice(18, 60, 2), 1590, id="none lays well"),
        pytest.param(question("1.76", "7.5"), Choice(18, 40, 2), 58, id="few are near"),
        pytest.param(question("1.79", "1000"), Choice(18, 40, 2), 542, id="none is near"),
        pytest.param(question("1.7"), Choice(18, 40, 1), 46, id="none that is near is allowed"),
    ],
)
def test_a_search_reckons_the_pitch_of_no_more_trains_than_it_must(
    monkeypatch: pytest.MonkeyPatch, wanted: WantedPitch, choice: Choice, most: int
) -> None:
    reckoned = 0
    whole = gear_search._Ranking._missed

    def missed(ranking: gear_search._Ranking, product: int, driven_product: int) -> tuple[int, int]:
        nonlocal reckoned
        reckoned += 1
        return whole(ranking, product, driven_product)

    monkeypatch.setattr(gear_search._Ranking, "_missed", missed)
    find_well_laying(wanted, choice)
    assert reckoned <= most


def test_a_train_at_the_end_of_a_step_does_not_end_the_search_before_its_step_is_whole() -> None:
    # 13:33 lays at exactly 1.001 mm, where the second step begins; 11:28 at 0.99825 mm is in it and has fewer teeth
    wanted = WantedPitch(Fraction(1), Fraction("2.541"), Fraction(1))
    assert find_trains(wanted, Choice(10, 60, 1), 1).trains[0].stages == ((11, 28),)


def test_nor_does_one_in_a_step_of_which_a_part_would_climb() -> None:
    # 26:51 lays at 1.0012 mm and 25:49 at 1.00199 mm, both in the second step; strand of 1.0005 mm ends the first one
    wanted = WantedPitch(Fraction(1), Fraction(127653, 65000), Fraction(1), Fraction("1.0005"))
    assert find_trains(wanted, Choice(10, 60, 1), 1).trains[0].stages == ((25, 49),)
