"""How fast a simulated board's clock goes: pauses hold it back to its pace of the real one."""

from boards.desktop import real_ms

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from boards.desktop import SocketPort, TerminalPort

# At full speed the clock waits for a silent host, so that the word of a live one always comes in time and the silence
# of a dead one still passes; and it takes its time when nothing happens either.
_FREE_MS = 500
_WAITING_PACE = 20.0
_IDLE_MS = 60000
_IDLE_PACE = 1.0

_SHORTEST_PAUSE_MS = 2.0
_LONGEST_LAG_MS = 100.0  # of real time: beyond it the clock does not catch up


class VirtualPace:
    """Pauses the port until real time has come as far as the virtual clock.

    pace: virtual seconds in a real one, 0 for as fast as it can.
    """

    def __init__(self, pace: float, port: "TerminalPort | SocketPort") -> None:
        self._pace = pace
        self._port = port
        self.set_out(0)

    def set_out(self, elapsed_ms: int) -> None:
        """Measure the pace from this virtual time on."""
        self._from_virtual_ms = elapsed_ms
        self._from_real_ms = real_ms()
        self._present_pace = 0.0

    def keep(self, elapsed_ms: int, silent_ms: int, resting: bool) -> None:
        """Wait where the virtual clock is ahead. silent_ms: since the host was heard. resting: nothing turns."""
        pace = self._pace or _pace_for_host(silent_ms, resting)
        if pace != self._present_pace:
            self.set_out(elapsed_ms)
            self._present_pace = pace
        if not pace:
            return
        ahead_ms = (elapsed_ms - self._from_virtual_ms) / pace - (real_ms() - self._from_real_ms)
        if ahead_ms >= _SHORTEST_PAUSE_MS:
            self._port.pause(int(ahead_ms))
        elif ahead_ms < -_LONGEST_LAG_MS:
            self.set_out(elapsed_ms)
            self._present_pace = pace


def _pace_for_host(silent_ms: int, resting: bool) -> float:
    if silent_ms <= _FREE_MS:
        return 0.0
    if resting and silent_ms > _IDLE_MS:
        return _IDLE_PACE
    return _WAITING_PACE
