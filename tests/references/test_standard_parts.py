"""Bought parts against the standards' values, and the marks before a sensor against an encoder's sum."""

from __future__ import annotations

from math import pi

import pytest

from parts.sensing import edge_interval_us, edge_spacing_mm, most_marks, pulses_per_second, second_channel_deg
from parts.standard_parts import BEARINGS, SCREWS

# ISO 15 boundary dimensions as carried by bd-warehouse 0.4.0 (PyPI), data/single_row_*_bearing_parameters.csv: row
# M8-22-7 (608) of the deep groove files; M15-35-11 stands there under 7202 and NJ 202, of the same dimension series 02
# as 6202.
ISO_15 = {"608": (8, 22, 7), "6202": (15, 35, 11)}
# ISO 273 medium fit: bd-warehouse 0.4.0, data/clearance_hole_sizes.csv, column Normal. Tapping drill: its
# tap_hole_sizes.csv, column Soft. Coarse pitch: Mechanical Engineer's Data Handbook, p. 299.
ISO_273 = {"M3": (0.5, 3.4, 2.5), "M4": (0.7, 4.5, 3.3), "M5": (0.8, 5.5, 4.2)}


def test_bearings_have_the_dimensions_of_the_standard() -> None:
    assert {name: (each.bore_mm, each.outside_mm, each.width_mm) for name, each in BEARINGS.items()} == ISO_15


def test_screws_have_the_pitch_and_the_holes_of_the_standards() -> None:
    assert {name: (each.pitch_mm, each.clearance_mm, each.tapping_mm) for name, each in SCREWS.items()} == ISO_273


def test_the_tapping_drill_is_the_thread_less_its_pitch() -> None:
    # rule of thumb of every workshop table, common practice
    for each in SCREWS.values():
        assert each.tapping_mm == pytest.approx(each.thread_mm - each.pitch_mm, abs=0.01)


def test_an_encoder_of_360_pulses_at_2000_rpm_gives_12_khz() -> None:
    # rpm / 60 x pulses a turn: encoder makers' sum
    assert pulses_per_second(360, 2000) == 12_000
    # two edges a pulse
    assert edge_interval_us(360, 2000) == pytest.approx(1e6 / 24_000)


def test_marks_and_gaps_fill_the_circle_and_the_most_marks_just_do() -> None:
    assert 2 * 60 * edge_spacing_mm(52, 60) == pytest.approx(pi * 52)
    most = most_marks(52, 0.5)
    assert edge_spacing_mm(52, most) >= 2 * 0.5 > edge_spacing_mm(52, most + 1)


def test_two_channels_stand_a_quarter_of_a_pitch_apart() -> None:
    # Gray code 00 01 11 10 in equal steps: the second channel is a quarter of a period behind
    assert second_channel_deg(60, whole_pitches=0) == pytest.approx(6 / 4)
    assert second_channel_deg(60, whole_pitches=4) % 6 == pytest.approx(1.5)
