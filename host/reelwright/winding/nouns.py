"""Nouns beside numbers, for every sentence alike."""

from __future__ import annotations


def count_of(count: int, word: str) -> str:
    """A count with its noun: "1 pulse", "2 pulses"."""
    return f"{count} {word}" if abs(count) == 1 else f"{count} {word}s"


def agreeing(number: str, words: str) -> str:
    """Words that follow a number and count in plurals: beside "1" each is a singular, as in "1 spool turn a layer"."""
    return " ".join(_ONE_OF.get(word, word) for word in words.split(" ")) if number == "1" else words


_ONE_OF = {"layers": "layer", "pulses": "pulse", "turns": "turn"}
