"""The winder's clock: milliseconds that wrap at 2^30."""

WRAP = 1 << 30
LOOP_MS = 10  # period of the control step
LEASE_MS = 50  # a board turns the motor off by itself when it was not told to drive for so long
WATCHDOG_MS = 2000  # a board restarts when its watchdog was not fed for so long
_MASK = WRAP - 1
_HALF = 1 << 29


def ticks_diff(later_ms: int, earlier_ms: int) -> int:
    """Signed milliseconds from earlier to later, right across the wrap, for spans below 2^29 (6.2 days)."""
    difference = (later_ms - earlier_ms) & _MASK
    if difference >= _HALF:
        difference -= _MASK
        difference -= 1
    return difference


def ticks_before(now_ms: int, span_ms: int) -> int:
    """The clock as it was so many milliseconds ago, for spans below 2^29."""
    return (now_ms - span_ms) & _MASK
