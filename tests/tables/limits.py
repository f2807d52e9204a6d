"""Writes the README's table of limits from their declaration: `python tests/tables/limits.py`.

It stands between a marker `<!-- limits -->` and `<!-- end -->`.
"""

from __future__ import annotations

import re
from pathlib import Path

from reelwright.winding.findings import limits_table

README = Path(__file__).resolve().parents[2] / "README.md"


def updated(text: str) -> str:
    """The page with the table as the limits are now. Raises ValueError where it has no place for it."""
    block = f"<!-- limits -->\n\n{limits_table()}\n\n<!-- end -->"
    text, count = re.subn(r"<!-- limits -->.*?<!-- end -->", lambda _: block, text, count=1, flags=re.DOTALL)
    if not count:
        raise ValueError(f"{README.name} has no marker for the limits")
    return text


if __name__ == "__main__":
    README.write_text(updated(README.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
    print(README)
