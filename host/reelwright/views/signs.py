"""Text for an output whose encoding has not every sign."""

from __future__ import annotations

_ERROR_BAR = "±"


def writable(text: str, encoding: str) -> str:
    """The text as this encoding can write it: "40.00 +-0.31 m", and question marks for what has no stand-in.

    "?" is the ledger's mark of doubt, so that the sign of an error bar needs another stand-in. It takes the place of
    sign and blank, as wide as they are, lest a table's columns shift.
    """
    if not _has(encoding, _ERROR_BAR):
        text = text.replace(f"{_ERROR_BAR} ", "+-").replace(_ERROR_BAR, "+-")
    return text.encode(encoding, "replace").decode(encoding)


def _has(encoding: str, sign: str) -> bool:
    try:
        sign.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
