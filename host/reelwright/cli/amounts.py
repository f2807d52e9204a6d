"""Lengths, masses and numbers as a person types them: few units, read exactly, and the rest refused by name.

A unit is required, because 40 might be metres or turns; a comma is refused, because it is a decimal sign to
one reader and a thousands sign to another.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

_MOST_DIGITS = 12  # before and behind the point: more is a slip, and slow to compute with
LENGTH_UNITS = {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000)}  # in metres
GAP_UNITS = {"mm": Fraction(1), "cm": Fraction(10)}  # in millimetres
MASS_UNITS = {"g": Fraction(1), "kg": Fraction(1000)}  # in grams

_DIGITS = rf"\d{{1,{_MOST_DIGITS}}}"
_AMOUNT = re.compile(rf"({_DIGITS}(?:\.{_DIGITS})?|\.{_DIGITS})\s*([a-zA-Z]*)", re.ASCII)
_EXPONENT = re.compile(r"([-+]?)((?:\d+\.?\d*|\.\d+)[eE]([-+]?\d+))\s*([a-zA-Z]*)", re.ASCII)
_NUMBER = re.compile(rf"{_DIGITS}(?:\.{_DIGITS})?|{_DIGITS}/0*[1-9]\d{{0,{_MOST_DIGITS - 1}}}", re.ASCII)


def parse_amount(text: str, units: dict[str, Fraction], noun: str, usual: str = "") -> Fraction:
    """The amount in the unit that counts 1. Raises ValueError with a sentence.

    noun: "length" or "mass", for the sentence. usual: the unit that such an amount is mostly given in, which the
    sentence proposes; by default the one that counts 1.
    """
    main = usual or next(unit for unit, size in units.items() if size == 1)
    known = ", ".join(units)
    plain = text.strip()
    if "," in plain:
        raise ValueError(
            f"{plain!r} has a comma; write the decimal sign as a point, such as {plain.replace(',', '.')!r}"
        )
    match = _AMOUNT.fullmatch(plain)
    if not match:
        _refuse_exponent(plain)
        raise ValueError(f"{plain!r} is no {noun}; write a number and its unit ({known}), such as 40{main}")
    number, unit = match.groups()
    if not unit:
        raise ValueError(f"{plain!r} has no unit; write {plain}{main}")
    if unit not in units:
        raise ValueError(f"{unit!r} in {plain!r} is no unit of {noun} known here; write one of {known}")
    return Fraction(number) * units[unit]


def _refuse_exponent(plain: str) -> None:
    """Raises ValueError with a sentence for a number such as 1e3, which is one, but not one that is read here."""
    match = _EXPONENT.fullmatch(plain)
    if match is None:
        return
    sign, number, exponent, unit = match.groups()
    out = f"{Decimal(number):f}" if not sign and len(exponent) <= 3 else ""
    example = f", such as {out}{unit}" if _AMOUNT.fullmatch(out) else ""
    raise ValueError(f"{plain!r} has an exponent; write the number out{example}")


def parse_number(text: str) -> Fraction:
    """A plain number or a fraction such as 174/5, exactly. Raises ValueError with a sentence."""
    plain = text.strip()
    if "," in plain:
        raise ValueError(f"{plain!r} has a comma; write the decimal sign as a point")
    if not _NUMBER.fullmatch(plain):
        _refuse_exponent(plain)
        raise ValueError(f"{plain!r} is no number; write one without a unit, such as 17.4 or 174/5")
    return Fraction(plain)


if TYPE_CHECKING:
    _AnyType = click.ParamType[Any]
else:  # older releases of click have no type argument here
    _AnyType = click.ParamType


class _Typed(_AnyType):
    """A type of the command line whose parser raises ValueError with a sentence."""

    def parse(self, text: str) -> Any:
        """The value of the text. Raises ValueError. Each type has its own."""
        raise NotImplementedError

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return self.parse(value)
        except ValueError as refusal:
            self.fail(f"{refusal}.", param, ctx)


class Length(_Typed):
    """A length such as 40m, in metres. usual: the unit that it is mostly given in."""

    name = "length"

    def __init__(self, usual: str = "m") -> None:
        self._usual = usual

    def parse(self, text: str) -> Fraction:
        return parse_amount(text, LENGTH_UNITS, "length", self._usual)


class Gap(_Typed):
    """A short length such as 2mm, in millimetres."""

    name = "gap"

    def parse(self, text: str) -> Fraction:
        return parse_amount(text, GAP_UNITS, "gap")


class Mass(_Typed):
    """A mass such as 250g, in grams."""

    name = "mass"

    def parse(self, text: str) -> Fraction:
        return parse_amount(text, MASS_UNITS, "mass")


class Number(_Typed):
    """A number or a fraction."""

    name = "number"

    def parse(self, text: str) -> Fraction:
        return parse_number(text)


class Rise(_Typed):
    """The name of a rise model, or a measured factor."""

    name = "rise"

    def parse(self, text: str) -> str | Fraction:
        return parse_number(text) if text.strip()[:1].isdigit() else text


class Diameters(_Typed):
    """One diameter such as 1.74mm, or two at right angles as 1.76mm/1.72mm, in millimetres."""

    name = "diameter"

    def parse(self, text: str) -> tuple[Fraction, ...]:
        return tuple(1000 * parse_amount(part, LENGTH_UNITS, "diameter", "mm") for part in text.split("/", 1))


class LayerDiameter(_Typed):
    """A layer's number and the outer diameter over it, such as 6:97.1mm, in millimetres."""

    name = "layer"

    def parse(self, text: str) -> tuple[int, Fraction]:
        number, colon, outer = (part.strip() for part in text.partition(":"))
        if not colon or not number.isascii() or not number.isdigit():
            raise ValueError(f"{text!r} is no layer with its outer diameter; write both, such as 6:97.1mm")
        return int(number), 1000 * parse_amount(outer, LENGTH_UNITS, "diameter", "mm")


class FiniteRange(click.FloatRange):
    """A plain number within limits; what is no number lies within none."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is no finite number.", param, ctx)
        return number


class WholeRange(click.IntRange):
    """A whole number within limits."""

    name = "whole number"
