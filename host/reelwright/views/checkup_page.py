"""A checkup as lines for a person: facts by heading, then what they mean and what to do."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from reelwright.verdicts import LOOK, WELL
from reelwright.views.untrusted import plain_text
from reelwright.winding.nouns import count_of
from windlink.codes import CAN_QUADRATURE
from windlink.sentences import CAPABILITIES, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from reelwright.condition import Checkup, DriveTuning
    from reelwright.verdicts import Verdict
    from reelwright.winding.job import Machine

_NAMED = 22  # columns for the name of a fact


def _backwards(checkup: Checkup, machine: Machine | None) -> str:
    """Whether the winder would see its spool turn backwards: for want of a channel no sensor test ever tells."""
    if say(CAPABILITIES, CAN_QUADRATURE).word not in checkup.capabilities:
        return "never seen: the board counts one channel, which has no direction"
    if machine is None:
        return 'seen by machines with sensor = "quadrature" alone'
    if machine.sensor == "single":
        return 'never seen: sensor = "single", and one channel has no direction'
    if machine.drive == "hand":
        return "counted back, and never a trip: the hand is yours"
    return "seen, and a trip"


def facts_of(checkup: Checkup, machine: Machine | None = None) -> list[tuple[str, str]]:
    """Name and text of each fact, in order. machine: whose winder it is, where that is known."""
    port = checkup.port
    link = checkup.link
    held = checkup.held
    trip = checkup.last_trip
    usb = f"{port.carries or 'unknown maker'}, USB {port.usb_vendor}:{port.usb_product}" if port.usb_vendor else "-"
    limits = (
        f"{checkup.highest_rate_pulses_s:g} pulses a second, {checkup.most_layers} layers,"
        f" {checkup.most_job_values} values a job, a step each {checkup.loop_ms} ms"
    )
    round_trip = f"{link.round_trip_min_ms:.1f} / {link.round_trip_median_ms:.1f} / {link.round_trip_max_ms:.1f} ms"
    counters = (
        f"{link.bad_lines + link.overlong_lines} bad lines, {link.dropped_progress} progress and"
        f" {link.dropped_events} events dropped, longest step {link.longest_loop_ms} ms"
    )
    return [
        ("port", port.name),
        ("USB device", usb),
        ("serial number", port.serial_number or "-"),
        ("firmware", f"{checkup.firmware}, this program {checkup.program}"),
        ("protocol", checkup.protocol),
        ("board", f"{checkup.board}, boot {checkup.boot}"),
        ("last start", checkup.cause_sentence),
        ("can do", ", ".join(checkup.capabilities) or "nothing"),
        ("turning backwards", _backwards(checkup, machine)),
        ("limits", limits),
        ("link", f"{count_of(link.requests, 'request')}, {link.retries} sent again"),
        ("round trip", f"{round_trip} (least, median, most)"),
        ("since the start", counters),
        ("state", held.state),
        ("job", f"{held.job_id}{held.known}, {count_of(held.pulses, 'pulse')}" if held.job_id else "none"),
        ("remembered", f"job {held.remembered}, {held.remembered_pulses} pulses" if held.remembered else "none"),
        ("its last trip", trip.reason if trip else "none since its start"),
        ("last checkup", checkup.since or "none on this port"),
        ("trips since", ", ".join(f"{each.reason} ({each.at})" for each in checkup.recorded_trips) or "none recorded"),
    ]


def fact_lines(checkup: Checkup, machine: Machine | None = None) -> Iterator[str]:
    """The facts, a line each."""
    for name, text in facts_of(checkup, machine):
        yield plain_text(f"{name:<{_NAMED}}{text}")


def verdict_lines(verdicts: Iterable[Verdict]) -> Iterator[str]:
    """Each verdict, and in a second line what to do."""
    marks = {WELL: "Good:", LOOK: "Look:"}
    for each in verdicts:
        yield plain_text(f"{marks.get(each.rank, 'Fault:')} {each.sentence}")
        if each.remedy:
            yield "  " + plain_text(each.remedy)


def tuning_lines(tuning: DriveTuning) -> Iterator[str]:
    """The drive's figures, and the lines to paste below [machine]. no_load_rpm and the ramps are rounded down."""
    yield f"Least duty that turns the spool: {tuning.least_duty:.1%} of full. Lag of the spool: {tuning.lag_s:.2f} s."
    yield "For the machine file:"
    yield ""
    for key in ("no_load_rpm", "acceleration_rpm_s", "deceleration_rpm_s"):
        yield f"{key} = {math.floor(getattr(tuning, key) * 10) / 10:g}"
