"""Which calibration a job goes by, and whether it holds for this job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reelwright.winding.findings import judge
from reelwright.winding.lay import CROSSING, rise_factor

if TYPE_CHECKING:
    from reelwright.winding.findings import Finding
    from reelwright.winding.job import Calibration, Job


def calibration_findings(job: Job, pitch_mm: float) -> list[Finding]:
    """A warning where the rise was measured at another lay pitch, on which it depends."""
    note = job.calibration
    if note is None or note.pitch_mm is None or "rise" not in note.figures:
        return []
    measured_mm = note.pitch_mm

    def both(_limit: float) -> str:
        told = f"It was measured at a lay pitch of {measured_mm:.3f} mm, and this job has {pitch_mm:.3f} mm"
        return f"{told}{_moved(job, measured_mm, pitch_mm)}."

    return judge("calibration_pitch", 100 * abs(pitch_mm / measured_mm - 1), job, more=both)


def _moved(job: Job, from_mm: float, to_mm: float) -> str:
    """By how much the model's rise moves between two pitches; empty where it has no answer."""
    diameter = job.strand.mean_diameter_mm
    try:
        moved = rise_factor(CROSSING, to_mm, diameter) - rise_factor(CROSSING, from_mm, diameter)
    except ValueError:
        return ""
    return f"; by the crossing model it is another one by {moved:+.3f}"


def calibration_record(note: Calibration | None) -> dict[str, object] | None:
    """The calibration as plain data, for JSON; None where the job goes by none."""
    if note is None or not note.figures:
        return None
    return {
        "strand": note.strand,
        "method": note.method,
        "date": note.date,
        "readings": note.readings,
        "figures": list(note.figures),
        "found": list(note.found),
        "pitch_mm": note.pitch_mm,
    }
