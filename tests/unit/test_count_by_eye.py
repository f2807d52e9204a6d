"""The turns that an operator has counted, as `wind --resume` takes them."""

from __future__ import annotations

import pytest

from reelwright.cli.wind import GIVE_OR_TAKE_TURNS, count_by_eye
from reelwright.errors import UsageError


def test_a_count_is_off_by_what_the_operator_says_even_when_that_is_nothing() -> None:
    assert count_by_eye(41.5, 0.0) == (41.5, 0.0)
    assert count_by_eye(0.0, 2.0) == (0.0, 2.0)
    assert count_by_eye(41.5, None) == (41.5, GIVE_OR_TAKE_TURNS)
    assert count_by_eye(None, None) is None


def test_an_error_without_a_count_is_refused() -> None:
    with pytest.raises(UsageError, match="goes with --counted-turns"):
        count_by_eye(None, 0.5)
