"""What each trip promises, as data: when it acts, how long it needs, what it tells. The board never loads this file.

`tests/reactions.py` measures the times; the table of the link's page is written from here.
"""

from windcore.plausibility import ILLEGAL_A_SECOND
from windcore.speed import LONG_PROOF_MS, PROOF_MS, PROOF_PULSES
from windcore.steps import FRESH_MS
from windcore.ticks import LEASE_MS, LOOP_MS
from windcore.trips import LATE_MS, LONGEST_SILENCE_MS
from windlink import codes as c

# What a trip's look may add to the time it needs, and the motor to obey it: read, decide, drive.
BUDGET_MS = 50


class Protection:
    """One trip. condition: what it acts on. needs: how long that must last, beside BUDGET_MS. value, limit: what the
    trip message tells of them."""

    def __init__(self, condition: str, needs: str, value: str, limit: str) -> None:
        self.condition = condition
        self.needs = needs
        self.value = value
        self.limit = limit


_AT_ONCE = "nothing: the first step that sees it"


def _switch(condition: str) -> Protection:
    return Protection(condition, _AT_ONCE, "1", "0")


PROTECTIONS = {
    c.NO_PULSES: Protection(
        "driven, short of the stop, and no pulse",
        "`no_pulses_ms` and four pulse periods at the rate asked for, at most %d s" % (LONGEST_SILENCE_MS // 1000),
        "silence, ms",
        "allowed, ms",
    ),
    c.BACKWARDS: Protection(
        "driven, two channels, and the count falls",
        "more than `backwards_pulses` below the highest count",
        "pulses turned back, negative",
        "`backwards_pulses`",
    ),
    c.OVERSPEED: Protection(
        "driven or braked, and faster than `highest_rate`",
        "the rate is proven over %d ms and %d pulses, or else over %d ms and to the next pulse"
        % (PROOF_MS, PROOF_PULSES, LONG_PROOF_MS),
        "rate, hundredths of a pulse a second",
        "`highest_rate`",
    ),
    c.RUN_OUT: _switch("turning, and the fitted run-out switch acts"),
    c.SNAG: _switch("turning, and the fitted tension switch acts"),
    c.STOP_PRESSED: _switch("turning, loaded or waiting, and the fitted stop button is pressed"),
    c.GUARD_OPEN: _switch("turning, and the fitted guard switch is open"),
    c.LINK_LOST: Protection(
        "driven, `link_loss` is trip, and no host is heard",
        "more than `link_loss_ms`",
        "silence, ms",
        "`link_loss_ms`",
    ),
    c.LATE_LOOP: Protection(
        "driven, and the control step comes late (its period is %d ms)" % LOOP_MS,
        "%d ms, or as soon as the board itself has turned the motor off, which it does once %d ms have passed"
        % (LATE_MS, LEASE_MS),
        "period, ms",
        "allowed, ms; 0 where the board was first",
    ),
    c.RESTARTED: Protection(
        "the board has started, and nobody asked for it",
        "nothing: the motor is off from the reset, or from the first statement of `boot.py`, until a new job starts",
        "cause, see Causes",
        "0",
    ),
    c.RUNS_ON: Protection(
        "drive off at its stop, and the spool turns on",
        "more than `overrun_pulses` past the stop",
        "pulses past the stop",
        "`overrun_pulses`",
    ),
    c.SLIP: Protection(
        "turning short of the stop, and the fitted measuring wheel sees too little strand",
        "`slip_permille` of a window and `slip_slack` wheel pulses are missing; a window's end may double that",
        "wheel pulses seen in the window",
        "wheel pulses expected from the turns",
    ),
    c.LOST_STEPS: Protection(
        "a stepper turns short of its stop, and lags behind its steps",
        "a pulse that comes more than `lag_pulses`, and what %d ms of steps make, late; a window's end may double that"
        % FRESH_MS,
        "lag, pulses",
        "`lag_pulses`",
    ),
    c.BAD_SENSOR: Protection(
        "turning, loaded or waiting, and the counters tell what no shaft can do: a jump, a single channel that counts"
        " down, more than %d illegal transitions in a second; or turning, and the measuring wheel sees too much strand"
        % ILLEGAL_A_SECOND,
        "nothing but the transitions: the first step that sees it; for the wheel as for slip",
        "pulses, transitions or wheel pulses seen",
        "the most that is possible; wheel pulses expected",
    ),
}
