"""The firmware's integer tally against exact fractions."""

from __future__ import annotations

from fractions import Fraction
from math import floor

from hypothesis import given
from hypothesis import strategies as st

from windcore.tally import Tally
from windcore.ticks import WRAP, ticks_diff

HALF = Fraction(1, 2)
numerators = st.integers(1, (1 << 30) - 1)
denominators = st.integers(1, (1 << 29) - 1)


@st.composite
def lays(draw: st.DrawFn) -> tuple[int, int, int]:
    """Pulses per layer as numerator and denominator, and the first pass; layers of 1 to 50,000 pulses."""
    denominator = draw(st.integers(1, 5000))
    numerator = draw(st.integers(denominator, 50000 * min(denominator, 20)))
    return max(numerator, denominator), denominator, draw(st.integers(denominator, max(numerator, denominator)))


def boundary(lay: tuple[int, int, int], layer: int) -> int:
    numerator, denominator, first = lay
    return floor(Fraction(first + (layer - 1) * numerator, denominator) + HALF) if layer else 0


@given(lays(), st.integers(0, 200))
def test_a_boundary_is_the_exact_one_rounded_half_up_at_any_depth(lay: tuple[int, int, int], depth: int) -> None:
    numerator, denominator, first = lay
    tally = Tally()
    tally.begin(numerator, denominator, first)
    tally.update(boundary(lay, depth))
    assert tally.done >= depth
    assert tally.lower == boundary(lay, tally.done)
    assert tally.upper == boundary(lay, tally.done + 1)


@given(st.integers(1, 600))
def test_layer_two_hundred_at_174_fifths_is_within_half_a_pulse(pulses_per_turn: int) -> None:
    exact = Fraction(174, 5) * pulses_per_turn
    tally = Tally()
    tally.begin(exact.numerator, exact.denominator, exact.numerator)
    tally.update(floor(exact * 200 + HALF))
    assert tally.done == 200
    assert abs(tally.lower - exact * 200) <= HALF


@given(lays(), st.lists(st.integers(0, 3_000_000), min_size=1, max_size=20))
def test_a_count_that_wanders_up_and_down_is_always_in_its_layer(lay: tuple[int, int, int], counts: list[int]) -> None:
    numerator, denominator, first = lay
    tally = Tally()
    tally.begin(numerator, denominator, first)
    for count in counts:
        count = min(count, 100 * numerator // denominator)
        tally.update(count)
        assert boundary(lay, tally.done) <= count < boundary(lay, tally.done + 1)
        assert tally.lower == boundary(lay, tally.done)


@given(st.integers(0, WRAP - 1), st.integers(-(1 << 29), (1 << 29) - 1))
def test_a_span_of_the_clock_reads_true_across_the_wrap(start_ms: int, span_ms: int) -> None:
    assert ticks_diff((start_ms + span_ms) % WRAP, start_ms) == span_ms
