"""One value of a job file into its type, or a sentence on what is wrong with it.

The types are those of `winding.job`. Numbers of a TOML file arrive as int or Decimal, so a fraction such as
17.4 is read as its decimal text, 87/5, and not as the nearest float. A bool is never a number, and text is
never one either, except for a fraction such as "174/5".
"""

from __future__ import annotations

import re
from decimal import Decimal, Inexact, localcontext
from fractions import Fraction
from math import isfinite
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union, get_args, get_origin

from cattrs import Converter

from reelwright.winding.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterable

_FRACTION = re.compile(r"\d{1,15}(\.\d{1,15})?|\d{1,15}/\d{1,15}", re.ASCII)
_MOST_DIGITS = 30  # of a number before or behind its point: beyond that it is a slip, and slow to compute with
_MOST_SHOWN = 40


class BadValueError(ValueError):
    """What is wrong with a value. faults: (place inside the value such as "[0][1]", sentence)."""

    def __init__(self, *faults: tuple[str, str]) -> None:
        super().__init__("; ".join(f"{place} {sentence}".strip() for place, sentence in faults))
        self.faults = faults


def read_value(value: object, kind: Any) -> Any:
    """The value as `kind`. Raises BadValueError with every fault in it."""
    return _CONVERTER.structure(value, kind)


def shown(value: object) -> str:
    """A value much as a person wrote it, safe to print."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        text = f'"{printable(value)}"'
    elif isinstance(value, dict):
        return "a table"
    elif isinstance(value, list | tuple):
        return "a list"
    elif isinstance(value, int) and abs(value) >= 10**_MOST_SHOWN:
        return "a number of more than 40 digits"
    else:
        text = _decimal(value) if isinstance(value, Fraction) else str(value)
    return text if len(text) <= _MOST_SHOWN + 5 else text[:_MOST_SHOWN] + "..."


def _decimal(value: Fraction) -> str:
    """A fraction as the decimal that a person may have typed; as it is where it has none of 30 digits."""
    with localcontext(prec=_MOST_DIGITS) as exact:
        decimal = Decimal(value.numerator) / Decimal(value.denominator)
        return str(value) if exact.flags[Inexact] else f"{decimal:f}"


def printable(text: str) -> str:
    """Text of a stranger, shortened, with no character that a terminal obeys."""
    safe = "".join(each if each.isprintable() else f"\\x{ord(each):02x}" for each in text[: _MOST_SHOWN + 1])
    return safe if len(safe) <= _MOST_SHOWN else safe[:_MOST_SHOWN] + "..."


def _bad(sentence: str) -> BadValueError:
    return BadValueError(("", sentence))


def _wanted(quantity: Quantity, noun: str) -> str:
    return f"give {noun} {quantity.range_text()}".strip()


def _finite(value: object, quantity: Quantity, noun: str) -> int | Decimal | Fraction:
    """The number that a value is, exactly."""
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal | Fraction | str):
        raise _bad(f"{shown(value)} is not a number; {_wanted(quantity, noun)}")
    if isinstance(value, str):
        plain = value.strip()
        mend = f"write {plain} without quotes" if _FRACTION.fullmatch(plain) and "/" not in plain else ""
        raise _bad(f"{shown(value)} is text, not a number; {mend or _wanted(quantity, noun)}")
    if isinstance(value, float):
        value = Decimal(repr(value))
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise _bad(f"{shown(value)} is not a finite number; {_wanted(quantity, noun)}")
        if (value and abs(value.adjusted()) > _MOST_DIGITS) or len(value.as_tuple().digits) > _MOST_DIGITS:
            raise _bad(f"{shown(value)} is beyond all measure; {_wanted(quantity, noun)}")
    return value


def _within(value: Any, quantity: Quantity, noun: str, written: object) -> Any:
    if not quantity.allows(value):
        unit = f" {quantity.unit}" if quantity.unit else ""
        raise _bad(f"{shown(written)}{unit} is out of range; {_wanted(quantity, noun)}")
    return value


def _float(value: object, quantity: Quantity) -> float:
    number = _finite(value, quantity, "a number")
    # the range is checked before the conversion, which an integer of 400 digits would break
    result = float(_within(number, quantity, "a number", value))
    if not isfinite(result):
        raise _bad(f"{shown(value)} is not a finite number; {_wanted(quantity, 'a number')}")
    return result


def _int(value: object, quantity: Quantity) -> int:
    number = _finite(value, quantity, "a whole number")
    if number != int(number):
        raise _bad(f"{shown(value)} is not a whole number; {_wanted(quantity, 'a whole number')}")
    return int(_within(int(number), quantity, "a whole number", value))


def _fraction(value: object, quantity: Quantity) -> Fraction:
    noun = 'a number or a fraction such as "174/5",'
    if isinstance(value, str):
        text = value.strip()
        if not _FRACTION.fullmatch(text):
            raise _bad(f"{shown(value)} is not a fraction; {_wanted(quantity, noun)}")
        if "/" in text and not int(text.partition("/")[2]):
            raise _bad(f"{shown(value)} divides by zero; {_wanted(quantity, noun)}")
        result = Fraction(text)
    else:
        result = Fraction(_finite(value, quantity, noun))
    return Fraction(_within(result, quantity, noun, value))


_NUMBERS = {float: _float, int: _int, Fraction: _fraction}


def _is_quantity(kind: Any) -> bool:
    return get_origin(kind) is Annotated and any(isinstance(note, Quantity) for note in kind.__metadata__)


def _quantity_hook(kind: Any) -> Any:
    base = get_args(kind)[0]
    quantity = next(note for note in kind.__metadata__ if isinstance(note, Quantity))
    read = _NUMBERS[base]
    return lambda value, _: read(value, quantity)


def _is_tuple(kind: Any) -> bool:
    return get_origin(kind) is tuple


def _tuple_hook(kind: Any) -> Any:
    kinds = get_args(kind)
    endless = kinds[-1] is Ellipsis

    def read(value: object, _: Any) -> tuple[Any, ...]:
        if not isinstance(value, list | tuple):
            raise _bad(f"{shown(value)} is not a list; write it in square brackets")
        if not endless and len(value) != len(kinds):
            raise _bad(f"this list has {len(value)} entries; give {len(kinds)}")
        items, faults = [], []
        for position, item in enumerate(value):
            try:
                items.append(read_value(item, kinds[0] if endless else kinds[position]))
            except BadValueError as bad:
                faults += [(f"[{position}]{place}", sentence) for place, sentence in bad.faults]
        if faults:
            raise BadValueError(*faults)
        return tuple(items)

    return read


def _is_choice(kind: Any) -> bool:
    return get_origin(kind) is Literal


def _choice_hook(kind: Any) -> Any:
    words = get_args(kind)

    def read(value: object, _: Any) -> str:
        if isinstance(value, str) and value in words:
            return value
        raise _not_one_of(value, words)

    return read


def _not_one_of(value: object, words: tuple[str, ...], besides: str = "") -> BadValueError:
    """besides: what would do as well as one of the words."""
    return _bad(f"{shown(value)} is not one of {_listed(words)}{besides}{near(value, words)}")


def _is_union(kind: Any) -> bool:
    return get_origin(kind) is Union or type(kind).__name__ == "UnionType"


def _union_hook(kind: Any) -> Any:
    """None or one kind; or a word or a number."""
    kinds = [each for each in get_args(kind) if each is not type(None)]
    words = next((each for each in kinds if _is_choice(each)), None)

    def read(value: object, _: Any) -> Any:
        if len(kinds) == 1:
            return read_value(value, kinds[0])
        if isinstance(value, str):
            if value in get_args(words):
                return value
            raise _not_one_of(value, get_args(words), ", and no number either")
        return read_value(value, next(each for each in kinds if each is not words))

    return read


def _bool(value: object, _: Any) -> bool:
    if not isinstance(value, bool):
        raise _bad(f"{shown(value)} is neither true nor false; write true or false without quotes")
    return value


def _text(value: object, _: Any) -> str:
    if not isinstance(value, str):
        raise _bad(f"{shown(value)} is not text; write it in quotes")
    if len(value) > 200 or not value.isprintable():
        raise _bad("give at most 200 printable characters on one line")
    return value


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f'"{word}"' for word in words)


def closest(value: object, words: Iterable[str]) -> str:
    """The word that a misspelt one probably means; empty where nothing is close."""
    if not isinstance(value, str):
        return ""
    from difflib import get_close_matches  # loaded only once something is misspelt

    return next(iter(get_close_matches(value, list(words), n=1)), "")


def near(value: object, words: Iterable[str]) -> str:
    """A suggestion for a misspelt word, ready to follow a sentence; empty where nothing is close."""
    close = closest(value, words)
    return f'; did you mean "{close}"?' if close else ""


def _converter() -> Converter:
    converter = Converter()
    converter.register_structure_hook(bool, _bool)
    converter.register_structure_hook(str, _text)
    converter.register_structure_hook_factory(_is_union, _union_hook)
    converter.register_structure_hook_factory(_is_tuple, _tuple_hook)
    converter.register_structure_hook_factory(_is_choice, _choice_hook)
    converter.register_structure_hook_factory(_is_quantity, _quantity_hook)
    return converter


_CONVERTER = _converter()
