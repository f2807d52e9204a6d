"""What each code says to a person: its word, a sentence, and what to do. The board never loads this file."""

from windlink import codes as c


class Saying:
    """A code in words. word: for logs and JSON. sentence: what it means. remedy: what to do, if anything."""

    def __init__(self, word: str, sentence: str, remedy: str = "") -> None:
        self.word = word
        self.sentence = sentence
        self.remedy = remedy


STATES = {
    c.EMPTY: Saying("empty", "No job is loaded; the drive is off."),
    c.LOADED: Saying("loaded", "A job is loaded and has not begun; the drive is off."),
    c.WINDING: Saying("winding", "The spool turns under drive."),
    c.EASING: Saying("easing", "The spool slows down to a stop."),
    c.WAITING: Saying("waiting", "At rest at a stop; the job may go on; the drive is off."),
    c.FINISHED: Saying("finished", "The job is over; the drive is off."),
    c.TRIPPED: Saying("tripped", "A protective stop holds the winder until it is cleared; the drive is off."),
}

TRIPS = {
    c.NO_PULSES: Saying(
        "no_pulses",
        "The drive was on, but the sensor counted nothing.",
        "Look for a stalled spool, a loose coupling, a dead sensor, a wire off sensor or motor, and no motor supply.",
    ),
    c.BACKWARDS: Saying(
        "backwards",
        "The spool turned against the drive.",
        "Look for swapped sensor channels, swapped motor leads, or strand that pulls the spool back.",
    ),
    c.OVERSPEED: Saying(
        "overspeed",
        "The spool turned faster than the machine allows.",
        "If it still turns, cut the motor's power at the emergency stop. Check motor driver and pulses_per_turn.",
    ),
    c.RUN_OUT: Saying(
        "run_out",
        "The pay-off spool is empty.",
        "Fit more strand and join it, or abandon the job. Turns after the end of the strand are counted and hold none.",
    ),
    c.SNAG: Saying(
        "snag",
        "The strand pulls too hard: it is caught.",
        "Free the strand at the pay-off spool, and check for crossed turns.",
    ),
    c.STOP_PRESSED: Saying(
        "stop_pressed",
        "The stop button was pressed, or the emergency stop.",
        "Release the button when it is safe. After an emergency stop switch the motor on again before you clear this.",
    ),
    c.GUARD_OPEN: Saying("guard_open", "The guard is open.", "Close the guard."),
    c.LINK_LOST: Saying(
        "link_lost",
        "The winder heard no host for the time that the job allows.",
        "Check the cable and the computer.",
    ),
    c.LATE_LOOP: Saying(
        "late_loop",
        "The control step came too late to keep watch over a turning spool.",
        "Report it with the firmware's version; it should not happen.",
    ),
    c.RESTARTED: Saying(
        "restarted",
        "The board restarted by itself, and its drive went off.",
        "Check the power supply. A job that was under way can be resumed from a count that you agree to.",
    ),
    c.RUNS_ON: Saying(
        "runs_on",
        "The spool went on turning past its stop with the drive off.",
        "Cut the motor's power at the emergency stop, then look for a motor driver that is stuck on.",
    ),
    c.SLIP: Saying(
        "slip",
        "The measuring wheel saw less strand than the turns of the shaft should have drawn.",
        "Look for a spool that slips on its shaft, strand that has run out or slips over the wheel, and a wheel that"
        " is lifted off or dead. What was wound since the last stop is less than counted.",
    ),
    c.BAD_SENSOR: Saying(
        "bad_sensor",
        "The sensor told what the shaft cannot have done: the count is not to be trusted.",
        "Look for a loose or unshielded sensor wire, a dirty or shaking sensor, and wrong values of pulses_per_turn,"
        " barrel_diameter_mm or measuring_wheel_mm_per_pulse. Count the turns again before going on.",
    ),
    c.LOST_STEPS: Saying(
        "lost_steps",
        "The spool lags behind the steps of its motor.",
        "Look for a spool that drags, strand that pulls hard, a loose coupling or belt, too little motor current, and"
        " too high a speed or acceleration; and for a wrong steps_per_spool_turn, or a sensor that misses pulses.",
    ),
}

# What a trip says of a count that it leaves behind, where that is not what is on the spool.
DOUBTS = {
    c.NO_PULSES: "The spool may hold more than counted: it stood still, or its sensor was dead while it turned on.",
    c.BACKWARDS: "The spool may hold more than counted: it turned back, or its sensor's channels are swapped.",
    c.RUN_OUT: "The spool may hold less than counted: turns after the end of the strand hold none.",
    c.SLIP: "Less strand than counted is on the spool: it slipped, or the strand ran out.",
    c.BAD_SENSOR: "The count is not what the spool has turned: the sensor told what it cannot have done.",
    c.LOST_STEPS: "The spool may hold more than counted: it lagged behind its motor, or its sensor missed pulses.",
}

REFUSALS = {
    c.UNKNOWN_REQUEST: Saying("unknown_request", "The winder does not know this request.", "Update the older side."),
    c.BAD_FIELDS: Saying("bad_fields", "The fields of the request are wrong in number or range."),
    c.WRONG_STATE: Saying("wrong_state", "The winder does not take this request in its present state."),
    c.WRONG_JOB: Saying("wrong_job", "The request names another job than the winder holds."),
    c.JOB_INCOMPLETE: Saying("job_incomplete", "Not every value of the job has arrived."),
    c.JOB_DAMAGED: Saying("job_damaged", "The checksum of the job disagrees with its values.", "Send it again."),
    c.JOB_VALUE: Saying("job_value", "A value of the job is impossible."),
    c.NOT_FITTED: Saying("not_fitted", "The job needs what this winder lacks.", "Change [machine] to what is fitted."),
    c.STALE: Saying("stale", "The request names a wait or a trip that is over.", "Ask for the status."),
    c.SWITCH_ACTIVE: Saying(
        "switch_active", "A switch still holds the winder.", "Close or release it, then try again."
    ),
    c.STILL_TURNS: Saying("still_turns", "The spool still turns.", "Wait until it stands, or stop it safely."),
    c.COUNT_OWED: Saying(
        "count_owed", "The job had begun before a restart, and has no count to start from.", "Give it one: resume it."
    ),
    c.TOO_FAST: Saying(
        "too_fast",
        "At the job's greatest speed the sensor's pulses are too short for the board's debounce window.",
        "Lower debounce_us of the machine file, and push it; or lower max_spool_rpm.",
    ),
}

STOPS = {
    c.STOP_AT_LAYER: Saying("layer_stop", "At the layer asked for."),
    c.STOP_AT_MARK: Saying("mark_stop", "At the mark asked for."),
    c.STOP_BY_PAUSE: Saying("paused", "Paused by the operator."),
    c.STOP_BY_LINK_LOSS: Saying("link_silent", "Paused, because no host was heard."),
    c.STOP_AT_RECOUNT: Saying("recounted", "At the count agreed to."),
}

OUTCOMES = {
    c.REACHED: Saying("reached", "The target was reached."),
    c.ABANDONED: Saying("abandoned", "Ended short of the target."),
}

CAUSES = {
    c.POWER_ON: Saying("power_on", "Power was switched on."),
    c.COMMANDED: Saying("commanded", "A restart was asked for."),
    c.WATCHDOG: Saying("watchdog", "The watchdog restarted a program that hung."),
    c.SOFT_RESET: Saying("soft_reset", "The interpreter was restarted."),
    c.POWER_DIP: Saying("power_dip", "The supply dipped."),
    c.UNKNOWN_CAUSE: Saying("unknown", "The board cannot tell."),
}

SOURCES = {
    c.FROM_NOWHERE: Saying("nowhere", "The winder remembers no job."),
    c.FROM_REGISTERS: Saying("registers", "The running count, kept in every control step."),
    c.FROM_JOURNAL: Saying("journal", "The last rest, kept in flash; `winding` means that a motion began from there."),
}

DRIVES = {
    c.HAND: Saying("hand", "A crank; lamp and buzzer tell when to stop."),
    c.DC: Saying("dc", "A DC motor."),
    c.STEPPER: Saying("stepper", "A stepper motor."),
}

LINK_LOSSES = {
    c.WIND_ON: Saying("wind_on", "Goes on to its next stop."),
    c.PAUSE: Saying("pause", "Eases to rest and waits."),
    c.TRIP: Saying("trip", "Trips: drive off at once."),
}

STOP_KINDS = {
    c.LAYER_STOP: Saying("layer", "A layer is full."),
    c.MARK_STOP: Saying("mark", "A marked length is reached."),
}

SWITCHES = {
    c.STOP_BUTTON: Saying("stop_button", "Stop button, trips while pressed."),
    c.GUARD_SWITCH: Saying("guard_switch", "Guard switch, trips while open."),
    c.RUN_OUT_SWITCH: Saying("run_out_switch", "Run-out switch, trips without strand."),
    c.TENSION_SWITCH: Saying("tension_switch", "Tension switch, trips on a snag."),
    c.GO_BUTTON: Saying("go_button", "Go button, ends a wait and starts a loaded job."),
}

CAPABILITIES = {
    **SWITCHES,
    c.CAN_HAND: Saying("hand", "Lamp and buzzer for a crank."),
    c.CAN_DC: Saying("dc", "A DC motor drive."),
    c.CAN_STEPPER: Saying("stepper", "A stepper drive."),
    c.CAN_QUADRATURE: Saying("quadrature", "A counter for two channels."),
    c.MEASURING_WHEEL: Saying("measuring_wheel", "A wheel that the strand turns, and its counter."),
    c.CAN_CHECK_QUADRATURE: Saying(
        "quadrature_check", "Its counter tells when both channels change at once; without it `bad_sensor` cannot."
    ),
}

# Every table of codes by its name: what a page shows and a test looks at is all of them.
TABLES = {
    "STATES": STATES,
    "TRIPS": TRIPS,
    "REFUSALS": REFUSALS,
    "STOPS": STOPS,
    "OUTCOMES": OUTCOMES,
    "CAUSES": CAUSES,
    "SOURCES": SOURCES,
    "DRIVES": DRIVES,
    "LINK_LOSSES": LINK_LOSSES,
    "STOP_KINDS": STOP_KINDS,
    "SWITCHES": SWITCHES,
    "CAPABILITIES": CAPABILITIES,
}


def say(table: "dict[int, Saying]", code: int) -> Saying:
    """What a code says; a newer version's code, which the table lacks, says that it is one."""
    saying = table.get(code)
    if saying is None:
        return Saying("code_%d" % code, "Code %d, which this program does not know." % code, "Update this program.")
    return saying


def code_of(table: "dict[int, Saying]", word: str) -> int:
    """The code that a word stands for. Raises KeyError for a word that the table lacks."""
    for code, saying in table.items():
        if saying.word == word:
            return code
    raise KeyError(word)
