"""The range and unit of a number in a job, declared beside its type.

A field reads `Annotated[float, Quantity("mm", above=0, at_most=5000)]`; whoever reads jobs from files or
flags checks against it, so that no range is written twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args, get_type_hints

from attrs import frozen

if TYPE_CHECKING:
    from fractions import Fraction


@frozen
class Quantity:
    """What a number may be. unit: of the number, "" for a plain number. Bounds are in that unit.

    above and below exclude the bound, at_least and at_most include it.
    """

    unit: str = ""
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    below: float | None = None

    def allows(self, value: float | Fraction) -> bool:
        """Whether a finite value lies within the bounds."""
        return (
            (self.above is None or value > self.above)
            and (self.at_least is None or value >= self.at_least)
            and (self.at_most is None or value <= self.at_most)
            and (self.below is None or value < self.below)
        )

    def range_text(self) -> str:
        """The bounds as words: "above 0 and at most 5000 mm"."""
        bounds = (("above", self.above), ("at least", self.at_least), ("at most", self.at_most), ("below", self.below))
        words = [f"{word} {bound:.12g}" for word, bound in bounds if bound is not None]
        return f"{' and '.join(words)} {self.unit}".strip()


def quantity_of(kind: type, key: str) -> Quantity:
    """The unit and range declared beside a field of a class, so that whoever else checks such a value has the same."""
    hint = get_type_hints(kind, include_extras=True)[key]
    notes = [note for each in (hint, *get_args(hint)) for note in getattr(each, "__metadata__", ())]
    return next(note for note in notes if isinstance(note, Quantity))
