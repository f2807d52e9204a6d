"""Makes text from outside safe to show: what a device, a file or a person sent must not steer the terminal."""

from __future__ import annotations

import re
import unicodedata

# Terminal sequences (ECMA-48): control sequences, strings up to their end, two-character escapes.
_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]?"
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"
    r"|\x1b[ -/]*[0-~]?"
)
_BREAK = re.compile(r"[\t\n\v\f\r\x1c-\x1f\x85\u2028\u2029]+")
_JOINERS = "\u200c\u200d"  # several scripts need them inside words; they cannot reorder or hide anything
_NEVER_SHOWN = ("Cc", "Cf", "Cs")  # controls; format signs, among them those that reverse the order; lone surrogates


def plain_text(text: str) -> str:
    """The text as one harmless line: no terminal sequences, no controls, no signs that hide or reorder text."""
    text = _SEQUENCE.sub("", text)
    text = _BREAK.sub(" ", text)
    return "".join(sign for sign in text if sign in _JOINERS or unicodedata.category(sign) not in _NEVER_SHOWN).strip()


def plain_lines(text: str) -> str:
    """The text with each of its lines made harmless. Line feeds and the spaces that indent a line stay."""
    lines = [(line, len(line) - len(line.lstrip(" "))) for line in text.split("\n")]
    return "\n".join(line[:indent] + plain_text(line) for line, indent in lines)
