"""Which wind was measured: from the ledger, a job file or profile names; and the strand that was on it."""

from __future__ import annotations

import os
from fractions import Fraction
from typing import TYPE_CHECKING

from attrs import evolve, frozen

from reelwright.errors import UsageError
from reelwright.profiles import build_job, load_job
from reelwright.profiles.calibrations import kept_evidence, without_calibration
from reelwright.profiles.jobs import label_density, load_strand
from reelwright.views.quantities import turns_text
from reelwright.winding.calibration_jobs import figures_of_job, figures_of_strand, wound
from reelwright.winding.calibration_winds import LayerDiameter, MeasuredWind
from reelwright.winding.plan import make_plan

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reelwright.profiles.measurements import WindMeasurements
    from reelwright.winding.calibration_evidence import Kept
    from reelwright.winding.calibration_figures import LabelDensity, StrandFigures
    from reelwright.winding.job import Job

HOW_TO_NAME = "Name the wind: --job NUMBER of the ledger, --wind JOB.toml, or --spool, --machine and --strand."
HOW_TO_COUNT = "Give --turns as counted."


@frozen
class Names:
    """Profile names given beside a wind; empty where none was."""

    strand: str = ""
    spool: str = ""
    machine: str = ""


@frozen
class StrandAsKnown:
    """A strand before it is calibrated: its figures, and the values that a new profile of it begins with.

    profile: its name; empty where none was named. evidence: what the figures rest on. label_density: without its
    calibration, where a profile gives one.
    """

    figures: StrandFigures | None
    values: Mapping[str, object]
    profile: str = ""
    evidence: Sequence[Kept] = ()
    label_density: LabelDensity | None = None


def strand_of_profile(name: str) -> StrandAsKnown:
    """The strand of a profile. Raises FileFaultsError."""
    strand, lay, note = load_strand(name)
    figures = figures_of_strand(strand, note)
    if not isinstance(lay.rise, str):
        figures = evolve(figures, rise=lay.rise, rise_u=lay.rise_u or 0.0)
    from reelwright.profiles.store import Profiles

    values = without_calibration(Profiles().find("strand", name) or {})
    return StrandAsKnown(figures, values, name, kept_evidence(name), label_density(name))


def measured_winds(
    all_measured: Sequence[WindMeasurements], names: Names, folder: str = ""
) -> tuple[list[MeasuredWind], StrandAsKnown]:
    """The winds with what was measured of them, and their one strand.

    folder: that the names of job files start from. Raises UsageError or FileFaultsError.
    """
    if names.strand and any(measured.job is not None or measured.file for measured in all_measured):
        load_strand(names.strand)  # a fault of it is the command line's, and none of the job that it is laid over
    jobs = [_job_and_turns(measured, names, folder) for measured in all_measured]
    strands = {(job.strand, job.lay) for job, _ in jobs}
    if len(strands) > 1:
        raise UsageError(
            "These winds are of different strand by their jobs.", "Name the one strand that they share with --strand."
        )
    winds = [
        with_measured(wound(job, None if turns is None else float(turns)), measured, _name(number, len(jobs)))
        for number, ((job, turns), measured) in enumerate(zip(jobs, all_measured, strict=True), start=1)
    ]
    first = jobs[0][0]
    calibrated = names.strand or (first.calibration.strand if first.calibration else "")
    evidence = kept_evidence(calibrated) if calibrated else ()
    return winds, StrandAsKnown(figures_of_job(first), _profile_values(first, names.strand), names.strand, evidence)


def with_measured(wind: MeasuredWind, measured: WindMeasurements, name: str = "") -> MeasuredWind:
    """The wind with the values that were measured of it."""
    return evolve(
        wind,
        gross_mass_g=measured.gross_mass_g,
        empty_mass_g=measured.empty_mass_g,
        scale_u_g=measured.scale_u_g,
        length_m=measured.length_m,
        tape_u_m=measured.length_u_m,
        layers=tuple(LayerDiameter(layer, outer_mm) for layer, outer_mm in measured.layers),
        caliper_u_mm=measured.caliper_u_mm,
        name=name,
        source="" if measured.job is None else f"job {measured.job}",
    )


def _name(number: int, count: int) -> str:
    return f"wind {number}" if count > 1 else ""


def _job_and_turns(measured: WindMeasurements, names: Names, folder: str) -> tuple[Job, Fraction | None]:
    strand: dict[str, dict[str, object]] = {"strand": {"profile": names.strand}} if names.strand else {}
    if measured.job is not None and measured.file:
        raise UsageError(f"Job {measured.job} and {measured.file} are both named.", "Keep one of the two.")
    if measured.job is not None:
        return _of_ledger(measured.job, measured.turns, strand)
    if measured.file:
        job = load_job(os.path.join(folder, measured.file), strand)
        return job, measured.turns or _asked_turns(job)
    missing = [f"--{key}" for key in ("spool", "machine", "strand") if not getattr(names, key)]
    if missing and not (names.spool or names.machine):
        raise UsageError("It is not said which wind was measured.", HOW_TO_NAME)
    if missing:
        raise UsageError("The wind is named in part.", f"Give {' and '.join(missing)} too.")
    tables: dict[str, dict[str, object]] = {
        "take_up": {"spool": names.spool},
        "machine": {"profile": names.machine},
        "target": {"turns": measured.turns or 1},
    }
    return build_job(tables | strand), measured.turns


def _asked_turns(job: Job) -> Fraction | None:
    """The turns of a job that says them; a length or a mass says them only by what is to be calibrated."""
    if job.target.turns is None and job.target.layers is None:
        return None
    return make_plan(job).exact_turns


def _of_ledger(number: int, turns: Fraction | None, strand: dict[str, dict[str, object]]) -> tuple[Job, Fraction]:
    # neither is paid for without a ledger's number
    from reelwright.cli.agreement import GIVE_OR_TAKE_TURNS
    from reelwright.ledger import ledger_path, open_ledger

    path = ledger_path()
    record = None
    if path.exists():
        with open_ledger(path) as ledger:
            record = ledger.find(number)
    if record is None:
        raise UsageError(f"The ledger holds no job {number}.", "`reelwright ledger list` shows those that it holds.")
    tables: dict[str, object] = dict(record.job)
    if strand:
        # what the job knew of another strand, and what the strand's own calibration says better
        tables = {name: table for name, table in tables.items() if name not in ("lay", "calibration")} | strand
    job = build_job(tables, f"job {number} of the ledger")
    known = record.known
    if known is None or known.uncertain or not known.count_known:
        if turns is None:
            raise UsageError(f"It is not known for certain what was counted in job {number}.", HOW_TO_COUNT)
        return job, turns
    counted = Fraction(known.counted_pulses) / job.machine.pulses_per_spool_turn
    if turns is not None and abs(turns - counted) > GIVE_OR_TAKE_TURNS:
        raise UsageError(
            f"The winder counted {turns_text(float(counted))} turns in job {number}, and nothing speaks against that; "
            f"yours are {turns_text(float(turns))}.",
            "Count again, or leave your turns out. If you are right all the same, name the wind by the file of its"
            " job in place of its number: --wind JOB.toml.",
        )
    return job, counted if turns is None else turns


def _profile_values(job: Job, profile: str) -> Mapping[str, object]:
    if profile:
        return strand_of_profile(profile).values
    own = {"name", "second_diameter_mm"} if job.calibration else {"name"}
    values = job.to_dict()["strand"]
    return {key: value for key, value in values.items() if key not in own} if isinstance(values, dict) else {}
