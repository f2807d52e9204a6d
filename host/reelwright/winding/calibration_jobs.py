"""A job as it was wound, seen by who measures it: its coil for any strand, and what was known of its strand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

from reelwright.winding.calibration_figures import RISE, StrandFigures
from reelwright.winding.calibration_winds import MeasuredWind
from reelwright.winding.job import Calibration, Lay
from reelwright.winding.plan import lay_out
from reelwright.winding.uncertainty import half_pulse_u

if TYPE_CHECKING:
    from reelwright.winding.coil import Coil
    from reelwright.winding.job import Job, Strand


def wound(job: Job, turns: float | None) -> MeasuredWind:
    """A wind of this job's spool and winder with so many turns, nothing measured of it yet."""
    stroke_mm, apart_mm = job.stroke_mm, _ovality_mm(job.strand)
    as_wound = evolve(job, machine=evolve(job.machine, stroke_mm=stroke_mm))

    def lay(barrel_mm: float, diameter_mm: float, rise: float) -> Coil:
        second_mm = diameter_mm - apart_mm / 2 if apart_mm else None
        another = evolve(
            as_wound,
            take_up=evolve(job.take_up, barrel_diameter_mm=barrel_mm),
            strand=evolve(job.strand, diameter_mm=diameter_mm + apart_mm / 2, second_diameter_mm=second_mm),
            lay=Lay(rise=rise),
        )
        return lay_out(another)[0]

    return MeasuredWind(
        barrel_mm=job.take_up.barrel_diameter_mm,
        barrel_u_mm=job.take_up.barrel_diameter_u_mm,
        lay=lay,
        turns=turns,
        turns_u=half_pulse_u(float(job.machine.pulses_per_spool_turn)),
        pitch_mm=lay_out(job)[0].pitch_mm,
    )


def figures_of_job(job: Job) -> StrandFigures:
    """What the job knows of its strand, the rise factor by model included."""
    _, rise, rise_u = lay_out(job)
    return evolve(figures_of_strand(job.strand, job.calibration), rise=rise, rise_u=rise_u)


def figures_of_strand(strand: Strand, calibration: Calibration | None = None) -> StrandFigures:
    """What is known of a strand, without a rise factor: that hangs on the winder too."""
    note = calibration or Calibration()
    return StrandFigures(
        diameter_mm=strand.mean_diameter_mm,
        diameter_u_mm=strand.diameter_u_mm,
        ovality_mm=_ovality_mm(strand),
        density_g_cm3=strand.density_g_cm3,
        density_u_g_cm3=strand.known_density_u_g_cm3,
        correlations=note.correlations,
        calibrated=note.figures,
        rise_pitch_mm=note.pitch_mm if RISE in note.figures else None,
    )


def _ovality_mm(strand: Strand) -> float:
    return 2 * (strand.diameter_mm - strand.mean_diameter_mm)
