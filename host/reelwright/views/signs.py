"""Text for an output whose encoding has not every sign."""

from __future__ import annotations

# "?" is the ledger's mark of doubt, so that the sign of an error bar needs another stand-in. It takes the place of sign
# and blank, as wide as they are, lest a table's columns shift.
_STAND_INS = (("± ", "+-"), ("±", "+-"))


def writable(text: str, encoding: str) -> str:
    """The text as this encoding can write it: "40.00 +-0.31 m", and question marks for what has no stand-in."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        for sign, stand_in in _STAND_INS:
            if not _has(encoding, sign):
                text = text.replace(sign, stand_in)
        return text.encode(encoding, "replace").decode(encoding)
    return text


def _has(encoding: str, sign: str) -> bool:
    try:
        sign.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
