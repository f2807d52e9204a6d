"""What each message, its fields and a job's values are for, in words. The board never loads this file."""

from windlink.catalogue import LONGEST_LOOPBACK_US, PART_VALUES, Message
from windlink.frame import ANSWER, EVENT, PROGRESS, REQUEST


class Words:
    """What a message is for, and those of its fields that mean in it what they mean nowhere else."""

    def __init__(self, about: str, **fields: str) -> None:
        self.about = about
        self.fields = fields


_ANY_JOB = "number of the job in the winder; 0 where there is none"

# What a field of this name is for in any message that says nothing else of it.
FIELDS = {
    "state": "state, see States",
    "pulses": "signed count of this job",
    "layer": "layer that the count is in, from 1; 0 without a job",
    "reason": "trip reason, see Trips; 0 for none",
    "time_ms": "winder's clock, wraps at 2^30",
    "event": "number of an event",
    "value": "what was measured",
    "limit": "what was allowed",
    "job_id": "number that the host gave the job; 0 where there is none",
}

MESSAGES = {
    (REQUEST, "hello"): Words(
        "Opens a session. Every version answers it, whatever the major.",
        major="protocol major of the host",
        minor="protocol minor of the host",
        session="drawn at random for each connection; the answer repeats it",
    ),
    (ANSWER, "hello"): Words(
        "Who answers.",
        major="protocol major of the winder",
        minor="protocol minor of the winder",
        session="as in the request",
        firmware="version of the firmware",
        board="name of the board file",
        boot="drawn at random at each start; another value means a restart",
        cause="what caused the last start, see Causes",
        pace="virtual seconds in a real one: 1 on hardware, 0 as fast as it can",
    ),
    (REQUEST, "limits"): Words("Asks what the winder can do."),
    (ANSWER, "limits"): Words(
        "What the winder can do.",
        capabilities="bit mask, see Capabilities",
        most_job_values="longest job",
        most_layers="deepest job",
        highest_rate="fastest count, hundredths of a pulse per second",
        loop_ms="period of the control step",
    ),
    (REQUEST, "status"): Words("Asks for the state. Harmless at any time; keeps the winder's progress coming."),
    (ANSWER, "status"): Words("The state.", job_id=_ANY_JOB, wait="event that began this wait"),
    (REQUEST, "trip"): Words("Asks for the first reason of the trip that holds the winder, or held it last."),
    (ANSWER, "trip"): Words("The trip."),
    (REQUEST, "counters"): Words("Asks what the link has lost so far."),
    (ANSWER, "counters"): Words(
        "What the link has lost so far.",
        bad_lines="lines that were no valid frame",
        overlong_lines="lines longer than their room",
        dropped_progress="progress frames dropped, because the port was not ready",
        dropped_events="events dropped, because the room for them was full",
        longest_loop_ms="longest control period since the start",
    ),
    (REQUEST, "sensor"): Words("Asks what the counters and switches say, with or without a job."),
    (ANSWER, "sensor"): Words(
        "What counters and switches say.",
        pulses="counter of the shaft's sensor; begins anywhere, wraps at 2^30",
        wheel_pulses="counter of the measuring wheel, likewise",
        illegal="counter of transitions that two channels cannot make, likewise",
        switches="bit mask of the switches that are active, fitted or not",
        quiet_ms="time since the last pulse of the shaft, or this at least",
    ),
    (REQUEST, "loopback"): Words(
        "Makes pulses on the pins that jumpers lead to the sensor's; only in state empty, and"
        f" for at most {LONGEST_LOOPBACK_US // 1000} ms.",
        way="0: pulses on one channel; 1: on two, A ahead; 2: on two, B ahead",
        count="how many pulses",
        gap_us="time for which a channel keeps each level, at least",
        bounce="how often a contact springs back at each edge",
    ),
    (ANSWER, "loopback"): Words(
        "The pulses were made; `sensor` tells what was counted.", lasted_us="how long they took"
    ),
    (REQUEST, "events"): Words("Asks which events the winder keeps."),
    (ANSWER, "events"): Words(
        "The events kept.",
        newest="number of the newest event; 0 before the first",
        acknowledged="the last one that was acknowledged; all above it are kept",
    ),
    (REQUEST, "memory"): Words("Asks which job the winder remembers from before its last start."),
    (ANSWER, "memory"): Words(
        "The job that began before the last start, until another one begins.",
        job_id=_ANY_JOB,
        pulses="count kept, and what was counted since the start",
        rate="when it was kept, hundredths of a pulse per second; 0 from the journal",
        state="when it was kept, see States",
        outcome="with state finished, see Outcomes; else 0",
        source="see Sources; 0 where nothing is remembered",
        dark_ms="longest time since in which no pulse was counted; 0 where nobody can tell",
    ),
    (REQUEST, "offer"): Words(
        "Begins to send a job, in a state that takes `accept`. What was sent of another one is forgotten.",
        count="how many values the job has",
    ),
    (REQUEST, "part"): Words(
        "Sends some values of the job. Sending the same again changes nothing.",
        offset="position of the first value, from 0",
        values=f"up to {PART_VALUES} values of the job",
    ),
    (REQUEST, "accept"): Words(
        "Asks the winder to check the whole job and take it.",
        crc="CRC-32 of all values in decimal, with one space between them",
    ),
    (REQUEST, "start"): Words("Starts the loaded job."),
    (REQUEST, "pause"): Words("Brings the winder to rest on a ramp; the job may go on."),
    (REQUEST, "go_on"): Words(
        "Ends a wait. Naming the wait keeps a late copy from ending the next one.",
        wait="event that began the wait to be ended, from status",
    ),
    (REQUEST, "abandon"): Words("Ends the job short of its target, after coming to rest on a ramp."),
    (REQUEST, "clear"): Words(
        "Clears a trip once its cause is mended. Moves nothing.", reason="the trip to be cleared, from status"
    ),
    (REQUEST, "recount"): Words(
        "Gives a job the count at which its spool stands, after a restart. Moves nothing: the job then waits.",
        pulses="count at which the job stands",
    ),
    (REQUEST, "maintenance"): Words(
        "Restarts the board for an upload: the port is then the interpreter's own, without control loop or"
        " watchdog, until"
        " the next restart. Refused unless the drive is off and the spool stands."
    ),
    (REQUEST, "ack"): Words("Acknowledges every event up to this number; the winder then forgets them."),
    (ANSWER, "done"): Words("The request was carried out."),
    (ANSWER, "refused"): Words(
        "The request was not carried out, and nothing has changed.",
        refusal="why, see Refusals",
        detail="job_incomplete and job_value: position of the value; switch_active and not_fitted: bits; "
        "too_fast: the most pulses a second that it counts; else 0",
        accepted="bit mask of the requests that this state accepts, see Requests by state",
    ),
    (PROGRESS, "progress"): Words(
        "Where the winder is. Absolute; may be lost. Its event field is the newest event.",
        rate="measured, hundredths of a pulse per second",
        duty="drive, thousandths of full; 0 is off",
    ),
    (EVENT, "began"): Words("Winding began or went on."),
    (EVENT, "layer_done"): Words("A layer is full."),
    (EVENT, "stopped"): Words("At rest; may go on.", stop="why, see Stops"),
    (EVENT, "ended"): Words("At rest for good; the job is over.", outcome="how, see Outcomes"),
    (EVENT, "tripped"): Words("A protective stop; latched until cleared."),
    (EVENT, "cleared"): Words("The operator cleared the trip."),
    (EVENT, "moved_at_rest"): Words("The spool turned while the drive was off."),
}

JOB = {
    "job_format": "version of this list",
    "drive": "see Drives",
    "channels": "1: the sign of the count is the drive's; 2: quadrature",
    "layer_numerator": "pulses per layer, numerator of the exact fraction",
    "layer_denominator": "and its denominator",
    "first_numerator": "pulses of the first pass, over the same denominator",
    "target_pulses": "where the job ends",
    "cruise_rate": "rate to wind at, hundredths of a pulse per second",
    "creep_rate": "rate of the last approach to a stop, likewise",
    "full_rate": "rate of the unloaded drive at full duty, likewise",
    "highest_rate": "rate that trips the drive, likewise",
    "acceleration": "gain of rate in a second, hundredths of a pulse per second squared",
    "creep_pulses": "length of the last approach",
    "standstill_ms": "silence of the sensor that counts as rest",
    "no_pulses_ms": "silence under drive that trips, beside four pulse periods",
    "backwards_pulses": "turning back under drive that trips (quadrature only)",
    "link_loss": "see Link loss; not looked at with drive hand",
    "link_loss_ms": "silence of the host that counts as its loss",
    "fitted": "bit mask of the fitted switches, see Switches",
    "lead_ms": "hand drive: how far ahead of a stop the lamp tells it",
    "step_numerator": "stepper: steps per pulse, numerator; 0 for other drives",
    "step_denominator": "and its denominator",
    "overrun_pulses": "turning on past a stop, drive off, that trips (not for hand)",
    "deceleration": "loss of rate in a second, hundredths of a pulse per second squared",
    "slip_window_pulses": "pulses over which measuring wheel and shaft are compared; 0: no wheel",
    "wheel_first": "wheel pulses of such a window in the first layer, sixteenths",
    "wheel_rise": "and what each further layer adds, sixteenths",
    "slip_permille": "deviation between wheel and shaft that is allowed, thousandths of a window",
    "slip_slack": "and wheel pulses beyond",
    "line_turn": "longest turn at which cruise_rate is wound; 0: in every layer",
    "line_first": "length of a turn in layer 1, in the unit of line_turn",
    "line_rise": "and what each further layer adds; longer turns are wound as much slower",
    "lag_pulses": "stepper: lag of the shaft behind its steps that trips; 0: not looked at",
}


def about_message(message: Message) -> str:
    """What a message is for."""
    return MESSAGES[message.kind, message.verb].about


def about_field(message: Message, name: str) -> str:
    """What a field of a message is for."""
    return MESSAGES[message.kind, message.verb].fields.get(name) or FIELDS[name]
