"""What a lamp shows to a hand at the crank."""

from windcore.signals import LAMP_NEARLY, LAMP_SLOWER, LAMP_WIND

# what to tell -> milliseconds from flash to flash, and how many of them the lamp is lit. The nearer, the faster; dark
# is stop.
PATTERNS = {LAMP_WIND: (1000, 1000), LAMP_SLOWER: (600, 300), LAMP_NEARLY: (160, 80)}


def lit(lamp: int, now_ms: int) -> int:
    """1 where the lamp is lit now, else 0. Allocates nothing."""
    if lamp not in PATTERNS:
        return 0
    period_ms, lit_ms = PATTERNS[lamp]
    return 1 if now_ms % period_ms < lit_ms else 0
