"""Exact turns to whole pulses, by the one rounding rule that the winder uses too: halves go up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from fractions import Fraction


def round_half_up(value: Fraction) -> int:
    """The nearest integer, halves up: floor(value + 1/2)."""
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


@frozen
class PulseScale:
    """How many pulses of the sensor make one turn of the take-up spool. Positive and exact."""

    per_spool_turn: Fraction

    def pulses(self, turns: Fraction) -> int:
        """The whole number of pulses nearest to these spool turns."""
        return round_half_up(turns * self.per_spool_turn)

    def turns(self, pulses: int) -> float:
        """Spool turns at this count; negative below zero."""
        return pulses * self.per_spool_turn.denominator / self.per_spool_turn.numerator

    def exact_turns(self, pulses: int) -> Fraction:
        """Spool turns at this count as a fraction."""
        return pulses / self.per_spool_turn


def layer_boundaries(first_pass_turns: Fraction, layer_turns: Fraction, scale: PulseScale, layers: int) -> list[int]:
    """Pulses at the end of layers 1 to `layers`.

    Each comes from the exact fraction, never from adding rounded layers, so the error is at most half a
    pulse at any depth.
    """
    first = first_pass_turns * scale.per_spool_turn
    each = layer_turns * scale.per_spool_turn
    # over one common denominator the sums are of integers, which is ten times as fast as of fractions
    below = first.denominator * each.denominator
    first_part = first.numerator * each.denominator
    each_part = each.numerator * first.denominator
    return [(2 * (first_part + done * each_part) + below) // (2 * below) for done in range(layers)]
