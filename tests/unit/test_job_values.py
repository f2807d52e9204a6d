"""A job that a winder could not keep is refused, and the first value at fault is named by its place."""

from __future__ import annotations

from binascii import crc32
from typing import TYPE_CHECKING

import pytest
from rig import job_list

from windlink import codes
from windlink.catalogue import MOST_JOB_VALUES
from windlink.job import FIRST_STOP, JOB_FIELDS, POSITION, first_fault, job_crc

if TYPE_CHECKING:
    from windlink.fields import Field

SOUND = -1

# fields that no other one contradicts
FREE = (
    "channels",
    "acceleration",
    "deceleration",
    "creep_pulses",
    "standstill_ms",
    "no_pulses_ms",
    "backwards_pulses",
    "link_loss",
    "link_loss_ms",
    "fitted",
    "lead_ms",
    "overrun_pulses",
    "slip_permille",
    "slip_slack",
)


def fault_of(stops: tuple[tuple[int, int], ...] = (), **changes: int) -> str | int:
    """The name of the field at fault, the place of a stop's value after the fields, or SOUND."""
    values = job_list(())
    for name, value in changes.items():
        values[POSITION[name]] = value
    for stop in stops:
        values += stop
    position = first_fault(values)
    return JOB_FIELDS[position].name if 0 <= position < FIRST_STOP else position


@pytest.mark.parametrize("field", JOB_FIELDS, ids=lambda field: field.name)
def test_a_value_beyond_either_end_of_its_range_is_named(field: Field) -> None:
    assert fault_of(**{field.name: field.low - 1}) == field.name
    assert fault_of(**{field.name: field.high + 1}) == field.name


@pytest.mark.parametrize("name", FREE)
def test_a_value_at_either_end_of_its_range_is_taken(name: str) -> None:
    field = JOB_FIELDS[POSITION[name]]
    assert fault_of(**{name: field.low}) == SOUND
    assert fault_of(**{name: field.high}) == SOUND


def test_a_list_too_short_too_long_or_with_half_a_stop_is_at_fault_after_its_last_value() -> None:
    sound = job_list(())
    assert first_fault(sound) == SOUND
    assert first_fault(sound[:-1]) == FIRST_STOP - 1
    assert first_fault(sound[:-2]) == FIRST_STOP - 2
    assert first_fault([]) == 0
    assert first_fault([*sound, 700]) == FIRST_STOP + 1
    most = (MOST_JOB_VALUES - FIRST_STOP) // 2
    stops = [value for pulses in range(1, most + 1) for value in (pulses, codes.MARK_STOP)]
    assert first_fault(sound + stops) == SOUND
    assert first_fault([*sound, *stops, most + 1, codes.MARK_STOP]) == FIRST_STOP + 2 * most + 2


@pytest.mark.parametrize(
    ("field", "highest", "others"),
    [
        # 696 pulses a layer, 40 pulses a second, 60 at full duty, trips at 55
        ("first_numerator", 696, {"target_pulses": 1500}),
        ("creep_rate", 4000, {}),
        ("cruise_rate", 5500, {}),
        ("cruise_rate", 5000, {"full_rate": 5000}),
        ("layer_denominator", 696, {"target_pulses": 1}),
        # a layer is below 2^28 pulses, so that sums of four stay below 2^30
        ("layer_numerator", (1 << 28) - 1, {}),
        ("layer_numerator", (1 << 29) - 1, {"layer_denominator": 2}),
        # 240 layers, the first one of 96 pulses
        ("target_pulses", 96 + 239 * 696, {"first_numerator": 96}),
        ("target_pulses", (96 + 239 * 696) // 5, {"first_numerator": 96, "layer_denominator": 5}),
        # 60,000 steps a second: 40 pulses a second of 1500 steps, or of 7500 / 5
        ("step_numerator", 1500, {"drive": codes.STEPPER}),
        ("step_numerator", 60000, {"drive": codes.STEPPER, "cruise_rate": 100, "creep_rate": 100}),
        ("step_numerator", 7500, {"drive": codes.STEPPER, "step_denominator": 5}),
        # twice a window of wheel pulses in the deepest of 240 layers is below 2^30
        ("slip_window_pulses", 16383, {"wheel_first": 32768}),
        ("slip_window_pulses", 16383, {"wheel_first": 32768 - 240 * 100, "wheel_rise": 100}),
    ],
)
def test_what_contradicts_another_value_is_refused_from_the_first_one_that_does(
    field: str, highest: int, others: dict[str, int]
) -> None:
    assert fault_of(**others, **{field: highest}) == SOUND
    assert fault_of(**others, **{field: highest + 1}) == field


def test_steps_are_counted_for_a_stepper_alone() -> None:
    for drive in (codes.HAND, codes.DC):
        assert fault_of(drive=drive, step_numerator=1501) == SOUND


def test_stops_ascend_between_the_start_and_the_target() -> None:
    mark, layer = codes.MARK_STOP, codes.LAYER_STOP
    assert fault_of(((1, mark), (2, layer), (1499, mark))) == SOUND
    assert fault_of(((0, mark),)) == FIRST_STOP
    assert fault_of(((1, mark), (1, mark))) == FIRST_STOP + 2
    assert fault_of(((1, mark), (5, mark), (4, mark))) == FIRST_STOP + 4
    assert fault_of(((1, mark), (1500, mark))) == FIRST_STOP + 2


def test_a_stop_of_no_known_kind_is_named_by_its_kind() -> None:
    assert fault_of(((1, codes.MARK_STOP), (2, 3))) == FIRST_STOP + 3
    assert fault_of(((1, 0), (2, 3))) == FIRST_STOP + 1


def test_the_checksum_is_that_of_the_list_as_one_line_of_text() -> None:
    assert job_crc([2, 1, -7]) == f"{crc32(b'2 1 -7'):08X}"
    # check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms, over the same nine digits
    assert job_crc([123456789]) == "CBF43926"
