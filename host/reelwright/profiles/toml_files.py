"""Reading a TOML file that a person wrote: every way it can fail is a sentence."""

from __future__ import annotations

import os
import re
import tomllib
from decimal import Decimal

from reelwright.errors import Fault, FileFaultsError, UsageError

_MOST_BYTES = 1_000_000


def read_toml(path: str | os.PathLike[str]) -> dict[str, object]:
    """The tables of the file, decimal numbers exact. Raises UsageError, FileFaultsError."""
    path = os.fspath(path)
    if not path:
        raise UsageError('A file\'s name is empty: "".', "Name the TOML file, or leave the name out.")
    try:
        if os.path.isdir(path):
            raise UsageError(f"{path} is a folder, not a file.", "Name the TOML file in it.")
        with open(path, "rb") as stream:
            content = stream.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise UsageError(f"{path} does not exist.", "Check the name and the folder it is in.") from None
    except (OSError, ValueError) as failure:
        reason = failure.strerror if isinstance(failure, OSError) and failure.strerror else str(failure)
        raise UsageError(f"{path} cannot be read: {reason}.", "Check the name and the file's permissions.") from None
    if len(content) > _MOST_BYTES:
        raise UsageError(f"{path} is larger than a megabyte, which no file for this program is.", "Check the name.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as failure:
        line = content.count(b"\n", 0, failure.start) + 1
        raise FileFaultsError(
            path, [Fault(f"line {line}", "this is not UTF-8 text; save the file with UTF-8 encoding")]
        ) from None
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except RecursionError:
        raise FileFaultsError(path, [Fault("TOML", "lists are nested too deeply; write them flat")]) from None
    except ValueError as failure:
        # tomllib ends its message with the place: "... (at line 3, column 7)"
        problem, _, place = str(failure).rpartition(" (at ")
        where = place.rstrip(")") if problem else "TOML"
        if where == "end of document":
            where = f"line {len(text.splitlines()) or 1}, the last"
        sentence = _unit_beside_a_value(text, where) or f"this is not valid TOML: {problem or failure}; mend that line"
        raise FileFaultsError(path, [Fault(where, sentence)]) from None


def _unit_beside_a_value(text: str, where: str) -> str:
    """What to write where the line of this place has a number with a unit; empty where it has none."""
    place = re.match(r"line (\d+)", where)
    lines = text.splitlines()
    if not place or int(place[1]) > len(lines):
        return ""
    given = re.match(
        r"\s*([\w.-]+)\s*=\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*([A-Za-z]\w*)\s*(?:#|$)", lines[int(place[1]) - 1]
    )
    if not given:
        return ""
    key, value, unit = given.groups()
    mend = (
        f"write {key} = {value}" if key.endswith(f"_{unit}") else f"give {key} a number alone, in the unit named there"
    )
    return f"{value} {unit} has its unit beside it; a unit stands in the key's name, so {mend}"
