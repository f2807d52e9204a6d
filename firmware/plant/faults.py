"""What goes wrong on demand, each at a number of turns, and how long it lasts.

run_out       The pay-off spool is empty. Lasts.
snag          The strand is caught at the pay-off spool. Freed once the spool has stood for five seconds.
sensor_dead   The sensor's wire is off: the counter stands. Lasts.
sensor_weak   The sensor misses two edges in three for about half a second, then none for as long, and so on. Lasts.
swapped_channels The sensor's two channels are exchanged: the counter runs the other way. Lasts; one channel alone
              has no direction.
stop_pressed  The stop button is held for three seconds.
guard_open    The guard is open for five seconds.
runaway       The motor driver is stuck at full drive. After three seconds a person opens the wired emergency
              stop, and the drive is dead from then on.
swapped_leads The motor turns the other way. Lasts. A ratchet holds the spool against it.
slip          The spool slips on its shaft and makes half of its turns. Ends once the shaft has stood for five seconds.
motor_dead    The motor's wire is off: nothing drives or brakes the spool any more. Lasts. A hand needs no motor.
lost_steps    A stepper loses two steps in three; another drive has none to lose. Ends like a slip.
wheel_dead    The measuring wheel's wire is off: its counter stands. Lasts.
sensor_noise  Interference on the sensor's wire for half a second: pulses that no shaft makes and, with two channels,
              transitions that none can make.
hitch         The program stands still for a fifth of a second.
hang          The program stands still until the watchdog restarts the board.
soft_reset    The interpreter is restarted, with no word of goodbye from the program.
power_dip     The supply dips for a tenth of a second: the board restarts.
power_cut     The board and the drive are without power for two seconds.
link_silent   Nothing that a host sends arrives any more. Lasts.
noise         A fifth of the bytes on the link are lost, flipped, doubled or delayed, in bursts, both ways. Lasts.
"""

from windlink.codes import GUARD_SWITCH, STOP_BUTTON

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Sequence

KINDS = (
    "run_out",
    "snag",
    "sensor_dead",
    "sensor_weak",
    "swapped_channels",
    "stop_pressed",
    "guard_open",
    "runaway",
    "swapped_leads",
    "slip",
    "motor_dead",
    "lost_steps",
    "wheel_dead",
    "sensor_noise",
    "hitch",
    "hang",
    "soft_reset",
    "power_dip",
    "power_cut",
    "link_silent",
    "noise",
)

# How long the passing ones last.
_LASTS_MS = {
    "stop_pressed": 3000,
    "guard_open": 5000,
    "runaway": 3000,
    "sensor_noise": 500,
    "hitch": 200,
    "power_dip": 100,
    "power_cut": 2000,
}
_FREED_AFTER_MS = 5000

_NEVER = 1e30


class Faults:
    """The planned faults, as (kind, turns), and what is wrong now.

    switches: bits of the switches that a fault holds. The other attributes are named after the faults; dead_drive
    follows a runaway.
    """

    def __init__(self, planned: "Sequence[tuple[str, float]]") -> None:
        self._planned = sorted(planned, key=lambda fault: fault[1])
        self.switches = 0
        self.run_out = False
        self.snag = False
        self.sensor_dead = False
        self.sensor_weak = False
        self.swapped_channels = False
        self.runaway = False
        self.dead_drive = False
        self.swapped_leads = False
        self.slip = False
        self.motor_dead = False
        self.lost_steps = False
        self.wheel_dead = False
        self.sensor_noise = False
        self.hitch = False
        self.hang = False
        self.soft_reset = False
        self.power_dip = False
        self.power_cut = False
        self.link_silent = False
        self.noise = False
        self._next_turns = _NEVER
        self._left_ms: "dict[str, int]" = {}
        self._stood_ms = 0
        self._point()

    def step(self, turns: float, turning: bool, step_ms: int) -> None:
        """Take the turns of the spool, and whether it turns; strike what is due and end what has lasted."""
        while turns >= self._next_turns:
            self._strike(self._planned.pop(0)[0])
            self._point()
        if self._left_ms:
            self._pass_time(step_ms)
        if self.snag or self.slip or self.lost_steps:
            self._stood_ms = 0 if turning else self._stood_ms + step_ms
            if self._stood_ms >= _FREED_AFTER_MS:
                self.snag = False
                self.slip = False
                self.lost_steps = False

    def restarted(self) -> None:
        """The board has restarted: what a restart ends is over."""
        self.hang = False
        self.soft_reset = False

    def _point(self) -> None:
        self._next_turns = self._planned[0][1] if self._planned else _NEVER

    def _strike(self, kind: str) -> None:
        if kind in _LASTS_MS:
            self._left_ms[kind] = _LASTS_MS[kind]
        self._stood_ms = 0
        self._set(kind, True)

    def _pass_time(self, step_ms: int) -> None:
        for kind in list(self._left_ms):
            self._left_ms[kind] -= step_ms
            if self._left_ms[kind] <= 0:
                del self._left_ms[kind]
                self._set(kind, False)
                if kind == "runaway":
                    self.dead_drive = True

    def _set(self, kind: str, on: bool) -> None:
        if kind == "stop_pressed":
            self.switches = self.switches | STOP_BUTTON if on else self.switches & ~STOP_BUTTON
        elif kind == "guard_open":
            self.switches = self.switches | GUARD_SWITCH if on else self.switches & ~GUARD_SWITCH
        else:
            setattr(self, kind, on)
