"""Where the firmware's files are."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from reelwright.errors import DeviceError

_HERE = Path(__file__).resolve().parent


def firmware_folder() -> Path:
    """The folder that holds main.py of the firmware: inside the installed package, else in the checkout.

    Raises DeviceError when neither has it.
    """
    places = (_HERE / "firmware", _HERE.parents[1] / "firmware")
    for place in places:
        if (place / "main.py").is_file():
            return place
    raise DeviceError(
        f"The firmware's files are missing; looked in {places[0]} and {places[1]}.",
        "Install reelwright again, from a whole checkout or a wheel.",
    )


def windlink_folder() -> Path:
    """The folder of the link's package, which the firmware imports too."""
    found = importlib.util.find_spec("windlink")
    if found is None or not found.submodule_search_locations:
        raise DeviceError("The package windlink is missing.", "Install reelwright again.")
    return Path(found.submodule_search_locations[0])
