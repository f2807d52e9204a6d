"""What a number may be: judged at its bounds, told in words, and found beside a field of a class."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated

import pytest

from reelwright.winding.cut_list import MOST_JOINS, Wanted
from reelwright.winding.gear_teeth import ToothForm
from reelwright.winding.quantities import Quantity, quantity_of


class Bench:
    """A class whose field carries another note beside its quantity."""

    height_mm: Annotated[float, "measured from the floor", Quantity("mm", above=0)]


@pytest.mark.parametrize(
    ("quantity", "allowed", "refused"),
    [
        (Quantity("mm", above=0), [1e-9, 1e9], [0, -1]),
        (Quantity("mm", at_least=0), [0, 1e9], [-1e-9]),
        (Quantity("mm", at_most=5000), [-1, 5000], [5000.001]),
        (Quantity("degrees", below=90), [-1, 89.999], [90, 91]),
        (Quantity("mm", above=0, at_most=5000), [1, 5000], [0, 5001]),
        (Quantity("", at_least=1, below=2), [1, Fraction(3, 2)], [Fraction(1, 2), 2]),
        (Quantity("g"), [-1e9, 0, 1e9], []),
    ],
    ids=str,
)
def test_a_bound_belongs_to_the_range_only_if_its_word_says_so(
    quantity: Quantity, allowed: list[float], refused: list[float]
) -> None:
    assert [value for value in [*allowed, *refused] if quantity.allows(value)] == allowed


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Quantity("mm", above=0, at_most=5000), "above 0 and at most 5000 mm"),
        (Quantity("degrees", at_least=-0.5, below=90), "at least -0.5 and below 90 degrees"),
        (Quantity("", at_most=1_000_000), "at most 1000000"),
    ],
    ids=str,
)
def test_a_range_is_told_with_its_bounds_and_its_unit(quantity: Quantity, text: str) -> None:
    assert quantity.range_text() == text


def test_a_field_tells_its_quantity_also_where_it_may_be_missing_or_has_other_notes() -> None:
    assert quantity_of(ToothForm, "module_mm") == Quantity("mm", at_least=0.1, at_most=50)
    assert quantity_of(Wanted, "most_joins") == Quantity("joins", at_least=0, at_most=MOST_JOINS)
    assert quantity_of(Bench, "height_mm") == Quantity("mm", above=0)
