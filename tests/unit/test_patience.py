"""How much longer than usual a board is waited for."""

from __future__ import annotations

import pytest

from reelwright.device.patience import PATIENCE, patience
from reelwright.errors import UsageError


def test_it_is_one_unless_the_environment_asks_for_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(PATIENCE, raising=False)
    assert patience() == 1
    monkeypatch.setenv(PATIENCE, "12.5")
    assert patience() == 12.5


@pytest.mark.parametrize("told", ["", "0.5", "-3", "nan", "inf", "1001", "slow"])
def test_what_is_no_such_number_is_refused_with_its_name(monkeypatch: pytest.MonkeyPatch, told: str) -> None:
    monkeypatch.setenv(PATIENCE, told)
    with pytest.raises(UsageError, match=PATIENCE):
        patience()
