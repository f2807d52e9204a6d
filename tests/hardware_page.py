"""The hardware's page and its list of parts, as the tests read them."""

from __future__ import annotations

import csv
import re

from wired_machines import HARDWARE

PAGE = (HARDWARE / "README.md").read_text(encoding="utf-8")
FLOWING = " ".join(PAGE.split())  # without its line breaks
ROWS = list(csv.DictReader((HARDWARE / "parts.csv").read_text(encoding="utf-8").splitlines()))


def numbers(text: str) -> list[float]:
    """Every number in a text, without its sign."""
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]
