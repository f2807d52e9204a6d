"""What a checkup can find, declared once: each code with its rank, its sentence and what to do."""

from __future__ import annotations

from attrs import frozen

WELL = "well"
LOOK = "look"  # worth a look; nothing is broken
FAULT = "fault"  # mend it before winding

# code -> rank, sentence, remedy; both with the names of the values that the finder gives
_VERDICTS = {
    # the winder and its link
    "in_order": (WELL, "Nothing here needs a hand.", ""),
    "restarted_by_itself": (LOOK, "The board last started without being asked to: {cause}", "{remedy}"),
    "tripped": (
        FAULT,
        "The winder is tripped ({trip}). {sentence}",
        "{remedy} Then clear it and go on: `{command}`.",
    ),
    "tripped_before": (
        LOOK,
        "Trips recorded on this port {since}: {trips}.",
        "`reelwright ledger show {job_id}` tells of the last one.",
    ),
    "job_held": (LOOK, "The winder holds job {job_id}{known}, {state}.", "{way}"),
    "job_remembered": (
        LOOK,
        "The winder remembers job {job_id}, at {pulses} pulses, from before its last start.",
        "{way}",
    ),
    "other_firmware": (
        LOOK,
        "The winder's firmware is {firmware}, this program {program}.",
        "Install the firmware that belongs to this program.",
    ),
    "requests_repeated": (
        LOOK,
        "{retries} of {requests} requests had to be sent again.",
        "Try a shorter or better cable, away from the motor's wires, and no hub.",
    ),
    "lines_damaged": (
        LOOK,
        "The winder has read {bad_lines} damaged lines since its start.",
        "One or two come with every connection. More: try another cable, away from the motor's wires.",
    ),
    "events_dropped": (
        LOOK,
        "The winder has dropped {dropped_events} events, because no host took them for long.",
        "Counts are right; the ledger lacks some layers.",
    ),
    "slow_loop": (
        LOOK,
        "The winder's control step once took {longest_loop_ms} ms, and its period is {loop_ms} ms.",
        "Once after a start is no harm. If it grows, report it with the firmware's version.",
    ),
    # the sensor
    "sensor_right": (WELL, "The sensor counts right: {counted} pulses a turn, {expected} expected.", ""),
    "sensor_silent": (
        FAULT,
        "The sensor counted nothing, and {expected} pulses a turn were expected.",
        "If the spool was turned: look at the sensor's supply, its wire, its distance from the disc, and its pin.",
    ),
    "sensor_wrong_ppr": (
        FAULT,
        "The sensor counts {counted} pulses a turn, steadily, and {expected} were expected.{hint}",
        "Set machine.pulses_per_turn = {fit}, or check shaft_turns_per_spool_turn.",
    ),
    "sensor_misses": (
        FAULT,
        "The sensor misses pulses, now more, now fewer: {counted} a turn, and {expected} were expected.",
        "Bring the sensor nearer to its disc, clean both, and look for a loose wire or a disc that slips.",
    ),
    "sensor_adds": (
        FAULT,
        "The sensor counts too many pulses, now more, now fewer: {counted} a turn, and {expected} were expected.",
        "Look for contacts that bounce, a sensor that shakes, and a wire that runs beside the motor's; shield it.",
    ),
    "sensor_off_once": (
        FAULT,
        "The sensor counted {counted} pulses in one turn, and {expected} were expected.",
        "Give --turns 3: a steady count tells wrong pulses_per_turn (here {fit}) from pulses that are missed or added.",
    ),
    "sensor_noisy": (
        FAULT,
        "The sensor tells what no shaft did: {stray} pulses at rest, {illegal} illegal transitions.",
        "Shield the sensor's wire, keep it from the motor's, and check its ground and its supply.",
    ),
    "sensor_restless": (
        FAULT,
        "The sensor never came to rest within {wait_s} s.",
        "Let the spool stand. If it does: look for interference, or a sensor that stands on an edge and shakes.",
    ),
    "sensor_backwards": (
        FAULT,
        "The sensor counts backwards.",
        "If the spool was turned in its winding direction, swap the sensor's two channels.",
    ),
    "direction_unseen": (LOOK, "One channel alone cannot tell the direction.", "See for yourself that it is right."),
    # the counter, without a sensor
    "loopback_right": (
        WELL,
        "The counter counts every pulse up to {rate} a second; a job may ask for {limit} at most, and {beyond}.",
        "",
    ),
    "loopback_slow": (
        LOOK,
        "The counter counts every pulse up to {rate} a second, and this winder would take a job of {limit}; {beyond}.",
        "Keep below {rate} in your jobs. A debounce_us of the machine file sets such a limit on purpose.",
    ),
    "loopback_silent": (
        FAULT,
        "The board made pulses, and its counter saw none.",
        "Put the jumpers from loopback_a to sensor_a, and with two channels from loopback_b to sensor_b.",
    ),
    "loopback_backwards": (FAULT, "Pulses ahead are counted backwards.", "Exchange the jumpers of the two channels."),
    "loopback_wrong": (
        FAULT,
        "Of {expected} slow pulses {counted} were counted.",
        "Take the sensor off its pins, look at the jumpers, and at debounce_us of the machine file.",
    ),
    "loopback_bounces": (
        FAULT,
        "With contacts that bounce {counted} of {expected} pulses were counted.",
        "Raise debounce_us of the machine file, or filter the sensor's signal.",
    ),
    # the motor
    "motor_right": (
        WELL,
        "The motor test reached its target: {turns} turns, {overrun} beyond, {rpm} ± {give} rpm, {rest_s} s to rest.",
        "",
    ),
    "motor_tripped": (FAULT, "The motor test tripped ({trip}). {sentence}", "{remedy}"),
    "motor_short": (FAULT, "The motor test ended {missing} pulses short of its target.", "Run it again and watch it."),
    "motor_link_silent": (
        FAULT,
        "The winder paused the motor test, because it heard nothing of this computer for {seconds} s.",
        "Look at the cable and at what else keeps this computer busy, then run it again.",
    ),
    "motor_overran": (
        FAULT,
        "The spool ran {overrun} pulses past its stop.",
        "Check deceleration_rpm_s, the brake, and whether the spool slips on its shaft.",
    ),
    "motor_slow": (
        FAULT,
        "The spool reached {rpm} rpm of the {wanted_rpm} asked for.",
        "Check the motor's supply, friction, and machine.no_load_rpm.",
    ),
    "motor_not_tuned": (FAULT, "The drive's figures cannot be told. {sentence}", "{remedy}"),
    "motor_stopped": (LOOK, "The motor test was stopped by the operator.", "Run it again when it is safe."),
}


@frozen
class Verdict:
    """One finding. code: for programs. rank: WELL, LOOK or FAULT. sentence and remedy: for a person."""

    code: str
    rank: str
    sentence: str
    remedy: str


def verdict(code: str, **values: object) -> Verdict:
    """The finding of that code with its values put in. Raises KeyError for a code or a value that is not there."""
    rank, sentence, remedy = _VERDICTS[code]
    return Verdict(code, rank, sentence.format(**values), remedy.format(**values).strip())


CODES = tuple(_VERDICTS)
