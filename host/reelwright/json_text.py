"""One line of JSON that any reader of the standard accepts: the one place that decides how our data is written.

RFC 8259 knows no NaN and no infinity, so both become null. Characters beyond ASCII are escaped, so that
text from a device or a file cannot steer the terminal that shows the line.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from fractions import Fraction
from os import PathLike, fspath


def json_text(value: object) -> str:
    """The value as one line of ASCII. Exact fractions become "174/5", paths their text.

    Raises TypeError for a value that has no place in JSON.
    """
    return json.dumps(_plain(value), ensure_ascii=True, allow_nan=False, separators=(", ", ": "))


def _plain(value: object) -> object:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, PathLike):
        return fspath(value)
    return value
