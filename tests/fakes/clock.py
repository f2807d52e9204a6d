"""The time module of a board, on the world's clock."""

from fakes.world import WORLD

_MASK = (1 << 30) - 1
_HALF = 1 << 29


def ticks_ms():
    """Milliseconds that wrap at 2^30."""
    return WORLD.ticks_ms()


def ticks_add(ticks, delta):
    """Later by so much."""
    return ticks + delta & _MASK


def ticks_diff(later, earlier):
    """Signed, across the wrap."""
    difference = later - earlier & _MASK
    return difference - _MASK - 1 if difference >= _HALF else difference


def sleep_ms(time_ms):
    """Time goes by, and whoever else lives in it acts."""
    assert time_ms >= 0
    if WORLD.between is not None:
        WORLD.between()
    WORLD.advance(time_ms * 1000)


def sleep_us(time_us):
    """A short wait in a call of C: no soft callback gets its turn."""
    WORLD.advance(time_us, interpreting=False)
