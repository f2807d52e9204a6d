"""What a person is told of a TOML file that cannot be read: the line, and what to write there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.errors import FileFaultsError
from reelwright.profiles.toml_files import read_toml

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("line", "mend"),
    [
        ("diameter_mm = 1.75mm", "write diameter_mm = 1.75"),
        ("diameter_mm = 1.75e0mm", "write diameter_mm = 1.75e0"),
        ("length_m=40 m  # a kilo", "write length_m = 40"),
        ("  gross_mass_g = -3g", "write gross_mass_g = -3"),
        ("strand.diameter_mm = 1.75 mm", "write strand.diameter_mm = 1.75"),
        ("diameter_mm = 0.07in", "give diameter_mm a number alone, in the unit named there"),
        ("length_m = 4000 mm", "give length_m a number alone, in the unit named there"),
    ],
)
def test_a_unit_beside_a_value_is_told_to_stand_in_the_key(tmp_path: Path, line: str, mend: str) -> None:
    path = tmp_path / "coil.toml"
    path.write_text(f"[strand]\n{line}\nname = 'reed'\n", encoding="utf-8")
    with pytest.raises(FileFaultsError) as told:
        read_toml(path)
    (fault,) = told.value.faults
    assert fault.path.startswith("line 2")
    assert fault.message.endswith(f"a unit stands in the key's name, so {mend}")


@pytest.mark.parametrize("line", ["name = reed", "diameter_mm = 1.75, 1.80", "diameter_mm 1.75mm", "name = '", "7mm"])
def test_any_other_line_that_is_not_toml_is_told_as_such(tmp_path: Path, line: str) -> None:
    path = tmp_path / "coil.toml"
    path.write_text(f"[strand]\n{line}", encoding="utf-8")
    with pytest.raises(FileFaultsError, match=r"line 2.*this is not valid TOML: .*; mend that line"):
        read_toml(path)
