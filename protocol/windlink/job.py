"""The job as the winder takes it: a list of whole numbers, declared once. What each is for stands in `meanings.py`.

The first values are the fields below in order; after them come the planned stops before the target, as
pairs (pulses, kind), ascending. Rates are in hundredths of a pulse per second, so that one pulse a turn at
walking pace and ten thousand a second are both whole numbers below 2^30.
"""

from binascii import crc32

from windlink.catalogue import MOST_JOB_VALUES
from windlink.codes import LAYER_STOP, MARK_STOP, STEPPER
from windlink.fields import SMALL, Field

HIGHEST_RATE = 1000000
FASTEST_COUNTED = 2 * HIGHEST_RATE  # a spool may turn faster than it was asked to, and is counted all the same
LOWEST_RATE = 5  # a pulse in 20 s: at a lower one a stalled spool could not be told from a slow one
MOST_STEPS_S = 60000
MOST_LAYERS = 240
JOB_FORMAT = 3
LONGEST_TURN = 32767  # times a rate of the ramp it stays below 2^30

JOB_FIELDS = (
    Field("job_format", JOB_FORMAT, JOB_FORMAT),
    Field("drive", 0, 2),
    Field("channels", 1, 2),
    Field("layer_numerator", 1, SMALL - 1),
    Field("layer_denominator", 1, SMALL // 2 - 1),
    Field("first_numerator", 1, SMALL - 1),
    Field("target_pulses", 1, SMALL // 4),
    Field("cruise_rate", LOWEST_RATE, HIGHEST_RATE),
    Field("creep_rate", LOWEST_RATE, HIGHEST_RATE),
    Field("full_rate", 1, FASTEST_COUNTED),
    Field("highest_rate", 1, FASTEST_COUNTED),
    Field("acceleration", 1, 10000000),
    Field("creep_pulses", 0, 100000),
    Field("standstill_ms", 50, 10000),
    Field("no_pulses_ms", 100, 60000),
    Field("backwards_pulses", 1, 1000000),
    Field("link_loss", 0, 2),
    Field("link_loss_ms", 500, 600000),
    Field("fitted", 0, 31),
    Field("lead_ms", 0, 60000),
    Field("step_numerator", 0, SMALL - 1),
    Field("step_denominator", 1, SMALL // 2 - 1),
    Field("overrun_pulses", 1, 1000000),
    Field("deceleration", 1, 10000000),
    Field("slip_window_pulses", 0, 100000),
    Field("wheel_first", 0, SMALL - 1),
    Field("wheel_rise", 0, SMALL // 256 - 1),
    Field("slip_permille", 0, 1000),
    Field("slip_slack", 0, 10000),
    Field("line_turn", 0, LONGEST_TURN),
    Field("line_first", 0, LONGEST_TURN),
    Field("line_rise", 0, LONGEST_TURN),
    Field("lag_pulses", 0, 100000),
)

POSITION = {field.name: position for position, field in enumerate(JOB_FIELDS)}
FIRST_STOP = len(JOB_FIELDS)


def job_crc(values: "list[int]") -> str:
    """The checksum that `accept` carries: CRC-32 of the values in decimal with one space between them."""
    crc = 0
    gap = b""
    for value in values:
        crc = crc32(gap + str(value).encode(), crc)
        gap = b" "
    return "%08X" % crc


def first_fault(values: "list[int]") -> int:
    """Position of the first value that makes the job impossible; -1 when there is none.

    A length that is wrong is a fault at the position after the last value.
    """
    count = len(values)
    if count < FIRST_STOP or count > MOST_JOB_VALUES or (count - FIRST_STOP) % 2:
        return count
    for position, field in enumerate(JOB_FIELDS):
        if not field.low <= values[position] <= field.high:
            return position
    return _first_contradiction(values)


def _first_contradiction(values: "list[int]") -> int:
    at = POSITION
    pairs = (
        ("first_numerator", "layer_numerator"),
        ("creep_rate", "cruise_rate"),
        ("cruise_rate", "full_rate"),
        ("cruise_rate", "highest_rate"),
        # a layer of less than one pulse could never be told from the next
        ("layer_denominator", "layer_numerator"),
    )
    for smaller, larger in pairs:
        if values[at[smaller]] > values[at[larger]]:
            return at[smaller]
    numerator, denominator = values[at["layer_numerator"]], values[at["layer_denominator"]]
    if numerator // denominator >= SMALL // 4:
        return at["layer_numerator"]
    last_layer = values[at["first_numerator"]] + (MOST_LAYERS - 1) * numerator
    if values[at["target_pulses"]] * denominator > last_layer:
        return at["target_pulses"]
    steps_s = values[at["cruise_rate"]] * values[at["step_numerator"]] // (100 * values[at["step_denominator"]])
    if values[at["drive"]] == STEPPER and steps_s > MOST_STEPS_S:
        return at["step_numerator"]
    deepest = values[at["wheel_first"]] + MOST_LAYERS * values[at["wheel_rise"]]
    if 2 * values[at["slip_window_pulses"]] * deepest >= SMALL:
        return at["slip_window_pulses"]
    return _first_bad_stop(values)


def _first_bad_stop(values: "list[int]") -> int:
    before = 0
    for position in range(FIRST_STOP, len(values), 2):
        if not before < values[position] < values[POSITION["target_pulses"]]:
            return position
        if values[position + 1] not in (LAYER_STOP, MARK_STOP):
            return position + 1
        before = values[position]
    return -1
