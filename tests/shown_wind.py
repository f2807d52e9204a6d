"""A wind in plain data, as views are given it, and a clock and a terminal for them."""

import io

import attrs

from reelwright.snapshot import Happening, Snapshot, WindResult

WINDING = Snapshot(
    state="winding",
    pulses=7068,
    layer=4,
    layer_turns=13.4,
    layer_turns_planned=34.8,
    layers_planned=5,
    turns=117.8,
    turns_planned=168.4,
    length_m=27.64,
    length_planned_m=40.0,
    rpm=96.2,
    line_speed_m_s=0.39,
    seconds_left=93.2,
    next_stop_turns=139.2,
)
LAYER_DONE = Happening(6, "layer_done", "Layer 3 is full.", {"time_ms": 61250, "layer": 3, "pulses": 6264})
SNAGGED = Happening(7, "tripped", "The strand is caught.", {"reason": 5}, "Free the strand.")
REACHED = WindResult(
    job_id=20310504,
    state="finished",
    outcome="reached",
    target_pulses=10104,
    counted_pulses=10105,
    turns=168.417,
    layers=5,
    length_m=40.0049,
    length_u_m=0.155,
    mass_g=119.42,
    mass_u_g=1.61,
    phase_turns=5.583,
)
TRIPPED = attrs.evolve(REACHED, state="tripped", outcome="", counted_pulses=9000, trip="snag", uncertain=True)


class Terminal(io.StringIO):
    """Text that claims to be on a terminal."""

    encoding = "utf-8"

    def isatty(self):
        return True


class HandClock:
    """A clock that stands until it is told to go."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s
