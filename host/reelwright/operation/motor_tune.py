"""What a machine file should say of a DC drive, from what two runs of the motor test showed: a slow and a fast one."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import ceil
from statistics import fmean, median
from typing import TYPE_CHECKING

from attrs import evolve, frozen

from reelwright.condition import DriveTuning
from reelwright.errors import DeviceError, UsageError
from reelwright.operation.motor_test import motor_job
from reelwright.winding.job import Target
from windlink.catalogue import HIGHEST_SEQUENCE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.condition import MotorSample
    from reelwright.winding.job import Job, Machine

STEADY_TURNS = 12  # of the fast run at its speed
STEADY_SHARE = 0.05  # of the speed asked for, that the mean of a steady stretch is off by at most
LEAST_STEADY = 4  # samples
SETTLED = 9  # samples from the first at the speed on
APART = 1.5  # times the slow speed, that the fast one is at least
KEPT_SHARE = 0.8  # of what the drive can do; the rest is for the strand's pull and a spool that fills
LEAST_LAG_S = 0.02  # nothing shorter shows in samples of every 0.15 s
_BRAKE_SHARE = 0.25  # of the greatest speed, down to which the brake shall keep an even deceleration


@frozen
class Run:
    """One run: the speed asked for, and what its progress told."""

    wanted_rpm: float
    samples: Sequence[MotorSample]


def fast_job(machine: Machine) -> Job:
    """The fast run: the machine's own speed, for as many turns as gaining, keeping and losing it take.

    Raises UsageError for a drive that has no duty, or where the fast run is no faster than the slow one.
    """
    if machine.drive != "dc":
        raise UsageError(
            f"A drive of the kind {machine.drive} has no duty to tune.", "Give --motor without --tune, or a DC machine."
        )
    slow = motor_job(machine)
    if machine.cruise_rpm < APART * slow.machine.cruise_rpm:
        raise UsageError(
            f"The machine winds at {machine.cruise_rpm:g} rpm, its test at {slow.machine.cruise_rpm:g}: too near.",
            "Raise spool_rpm or max_spool_rpm. Without no_load_rpm the file has 1.4 times the greatest speed.",
        )
    ways = (machine.cruise_rpm / 60) ** 2 / 2 * 60 * (1 / machine.acceleration_rpm_s + 1 / machine.slowing_rpm_s)
    return evolve(
        slow,
        machine=evolve(slow.machine, spool_rpm=machine.cruise_rpm),
        target=Target(turns=Fraction(ceil(ways + STEADY_TURNS))),
    )


def tune(machine: Machine, slow: Run, fast: Run) -> DriveTuning:
    """The drive's figures. Raises DeviceError where a run never was steady, or the drive does not answer its duty.

    A motor's steady speed is a straight line over its duty: nothing below the duty that overcomes friction, and the
    no-load speed at full duty. Its lag, J R / k^2, is the way that the duty was ahead of the spool over the speed
    gained. Textbooks of brushed motors.
    """
    (low_rpm, low_duty), (high_rpm, high_duty) = _steady(slow), _steady(fast)
    if high_duty <= low_duty or high_rpm <= low_rpm:
        raise DeviceError(
            f"The drive needs a duty of {low_duty:.1%} at {low_rpm:.1f} rpm and {high_duty:.1%} at {high_rpm:.1f} rpm.",
            "A faster spool should need more. Look for a slipping belt, or a supply that gives way.",
        )
    slope = (high_rpm - low_rpm) / (high_duty - low_duty)
    least_duty = max(0.0, low_duty - low_rpm / slope)
    no_load_rpm = slope * (1 - least_duty)
    lag_s = _lag_s(fast, high_rpm, slope, least_duty)
    gain = KEPT_SHARE * max(0.0, no_load_rpm - machine.max_spool_rpm) / lag_s
    loss = KEPT_SHARE * _BRAKE_SHARE * machine.max_spool_rpm / lag_s
    return DriveTuning(
        no_load_rpm=no_load_rpm,
        least_duty=least_duty,
        lag_s=lag_s,
        acceleration_rpm_s=min(machine.acceleration_rpm_s, max(1.0, gain)),
        deceleration_rpm_s=min(machine.slowing_rpm_s, max(1.0, loss)),
    )


def _steady(run: Run) -> tuple[float, float]:
    """Speed and duty, a share of full, in the later half of what came once the speed was reached.

    All of it counts. A rate of whole pulses in whole steps is now above the true one and now below, by more than
    STEADY_SHARE where pulses are rare: only their mean is right, and to drop those far off would shift it.
    """
    held = [each for each in run.samples[_steady_from(run) :] if each.duty > 0]
    rpm = fmean(each.rpm for each in held) if len(held) >= LEAST_STEADY else 0.0
    if abs(rpm - run.wanted_rpm) > STEADY_SHARE * run.wanted_rpm:
        raise DeviceError(
            f"The spool was not steady at {run.wanted_rpm:.1f} rpm for long enough to tune by.",
            "Run the test again; then look at the sensor, at friction, and at no_load_rpm.",
        )
    return rpm, fmean(each.duty for each in held)


def _reached(run: Run) -> int:
    """Which sample is the first at the speed asked for; their number where none is."""
    least_rpm = (1 - STEADY_SHARE) * run.wanted_rpm
    return next((at for at, each in enumerate(run.samples) if each.rpm >= least_rpm), len(run.samples))


def _steady_from(run: Run) -> int:
    """Which sample begins the later half of what came once the speed was reached."""
    return (_reached(run) + len(run.samples)) // 2


def _lag_s(run: Run, steady_rpm: float, slope: float, least_duty: float) -> float:
    """Seconds, from the way up: what the duty asked for less what the spool turned, over the speed gained.

    Turns are exact where told rates come late and in whole pulses. The samples' own time, which is the winder's and not
    this computer's, follows from the turns of the steady stretch. The duty answers each whole pulse, so that samples
    of it waver: the median of several places counts, all soon after the way up, before their wavering adds up.
    """
    samples = run.samples
    if not _reached(run):
        return LEAST_LAG_S  # nothing was heard of the way up
    first, last = samples[_steady_from(run)], samples[-1]
    sample_s = 60 * (last.turns - first.turns) / (steady_rpm * _later(last, first))
    asked, behind = 0.0, []
    for before, after in pairwise(samples[: _reached(run) + SETTLED]):
        duty = (max(0.0, before.duty - least_duty) + max(0.0, after.duty - least_duty)) / 2
        asked += slope * duty / 60 * sample_s * _later(after, before)
        behind.append(asked - (after.turns - samples[0].turns))
    return max(LEAST_LAG_S, 60 * median(behind[-SETTLED:]) / (steady_rpm - samples[0].rpm))


def _later(after: MotorSample, before: MotorSample) -> int:
    """By how many samples one is later than the other, lost ones counted."""
    return (after.number - before.number) % (HIGHEST_SEQUENCE + 1)
