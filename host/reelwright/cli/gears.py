"""`reelwright gears`: check a gear train between spool and screw, or find one for a lay pitch."""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Any

import click

from reelwright.cli.gear_options import MOST_TOLERANCE, GivenOptions, check_options, find_options
from reelwright.errors import COMMAND_LINE, FileFaultsError, UsageError
from reelwright.json_text import json_text
from reelwright.profiles import is_job_file, load_job, load_part
from reelwright.profiles.jobs import PROFILE_KEYS
from reelwright.profiles.values import printable
from reelwright.winding.gear_check import StrandStroke, check_train, pitch_verdict
from reelwright.winding.gear_record import check_record, search_record
from reelwright.winding.gear_search import (
    MOST_COUNTS,
    MOST_COUNTS_COAXIAL,
    MOST_GEARS_AT_HAND,
    MOST_STAGES,
    RANK_STEP,
    Choice,
    WantedPitch,
    choice_faults,
    find_well_laying,
    usual_pitch_mm,
)
from reelwright.winding.gear_teeth import least_teeth
from reelwright.winding.gears import turns_per_layer
from reelwright.winding.job import Strand

if TYPE_CHECKING:
    from reelwright.winding.gear_search import Search
    from reelwright.winding.gears import Stages
    from reelwright.winding.job import Job, Machine, TakeUp

COMMON_STRANDS = (Strand(1.75), Strand(2.85))
# field of a choice -> the option that gives it
_CHOICE_OPTIONS = {
    "stages": "--stages",
    "least_teeth": "--least-teeth",
    "most_teeth": "--most-teeth",
    "at_hand": "--have",
}


@click.group("gears")
def command() -> None:
    """Check the gear train between spool and screw, or find one that lays strand at a wanted pitch."""


@command.command("check", short_help="Look at a train: ratio, pitch, centre distances, undercut.")
@check_options
def check(path: str | None, **options: Any) -> None:
    """Look at a train: ratio, turns per layer, pitch, centre distances, undercut, hands of the helix.

    The gears are those of --gears with --screw-turns, of --machine, or of JOB.toml. Unless a strand is given, or a
    job has one, the pitch is judged for 1.75 and 2.85 mm.
    """
    given = GivenOptions(options)
    sources = _Sources(given, path)
    stages = sources.stages()
    screw_turns = sources.screw_turns()
    dwell_turns = sources.dwell_turns()
    form = given.tooth_form()
    diameters = sources.diameters_mm() or [_exact(strand.mean_diameter_mm) for strand in COMMON_STRANDS]
    strokes = [sources.stroke_mm(diameter) for diameter in diameters]
    if stages and screw_turns and dwell_turns >= turns_per_layer(stages, screw_turns):
        given.fault("--dwell-turns", f"{dwell_turns} turns are all that a layer has, so the guide would never travel")
    given.settle()
    if stages is None or screw_turns is None:
        raise AssertionError("what is missing has been told")
    strands = [
        StrandStroke(diameter, stroke)
        for diameter, stroke in zip(diameters, strokes, strict=True)
        if stroke is not None
    ]
    answer = check_train(
        stages, screw_turns, form, strands, dwell_turns=dwell_turns, want_coaxial=given.text("--coaxial")
    )
    if given.text("--json"):
        click.echo(json_text(check_record(answer)))
    else:
        from reelwright.views.gear_table import check_text  # the terminal's library is not paid for by --json

        click.echo(check_text(answer), nl=False)


def _by_stages(most: dict[int, int]) -> str:
    """Such as "1000 numbers with 1 stage, 200 with 2, 64 with 3"."""
    first, *others = most.items()
    return ", ".join([f"{first[1]} numbers with {first[0]} stage", *(f"{most} with {count}" for count, most in others)])


FIND_HELP = f"""Find trains that come closest to a wanted lay pitch.

Needs the stroke, the screw turns per pass and the strand: by options, --machine, --spool, or JOB.toml. A train that
lays closer than the strand is thick is left out. Where none is within --tolerance, those that the plan finds good are
shown. The best comes first: the smaller pitch error, in steps of {float(100 * RANK_STEP):g} % of the pitch, and among
equals fewer teeth and fewer gears.

There is a limit to what it tries. From --least-teeth to --most-teeth there may be
{_by_stages(MOST_COUNTS)}, and {MOST_COUNTS_COAXIAL} with --coaxial; --have takes
{_by_stages(MOST_GEARS_AT_HAND)}.
"""


@command.command("find", help=FIND_HELP)
@find_options
def find(path: str | None, **options: Any) -> None:
    """Find trains for a pitch, and show them. Raises UsageError where none is near enough."""
    given = GivenOptions(options)
    wanted = _wanted(given, _Sources(given, path))
    form = given.tooth_form()
    choice = _choice(given, least_teeth(form))
    count = given.shown()
    given.settle()
    if wanted is None or choice is None:
        raise AssertionError("what is missing has been told")
    search = find_well_laying(wanted, choice, count)
    if not search.trains:
        raise _nothing_found(search, wanted, choice)
    if given.text("--json"):
        click.echo(json_text(search_record(search, wanted, form)))
    else:
        from reelwright.views.gear_table import search_text  # as above

        click.echo(search_text(search, wanted, form), nl=False)


class _Sources:
    """Where the values come from: an option goes before a named profile, and that before the job file."""

    def __init__(self, given: GivenOptions, path: str | None) -> None:
        self._given = given
        self._job: Job | None = None if path is None else load_job(path)
        self._machine: Machine | None = self._part("machine", "--machine", self._job and self._job.machine)
        self._spool: TakeUp | None = self._part("take_up", "--spool", self._job and self._job.take_up)
        self._stroke = given.length_mm("--stroke")

    def _part(self, table: str, option: str, of_job: Any) -> Any:
        name = self._given.text(option)
        return of_job if name is None else self._profile(table, option, name)

    def _profile(self, table: str, option: str, name: str) -> Any:
        """A profile's values, or a job file's machine; None with the faults of a profile noted.

        Raises UsageError or FileFaultsError for a file that cannot be read.
        """
        if table == "machine" and is_job_file(name):
            return load_job(name).machine
        try:
            return load_part(table, name)
        except FileFaultsError as failure:
            if failure.source != COMMAND_LINE:
                raise  # of the whole file, whatever profile was asked for
            for fault in failure.faults:
                is_name = fault.path == f"{table}.{PROFILE_KEYS[table][0]}"
                self._given.fault(option if is_name else f"{option} {printable(name)}, {fault.path}", fault.message)
            return None

    def stages(self) -> Stages | None:
        """The train; a fault is noted where nothing tells it."""
        if self._given.text("--gears") is not None:
            return self._given.train("--gears")
        if self._machine is not None and self._machine.gears:
            return self._machine.gears
        if self._machine is not None or self._given.text("--machine") is None:  # a machine that is not there is told
            told = "the machine has turns_per_layer and no gears" if self._machine else "nothing tells the gears"
            self._given.fault("--gears", f"{told}; give driver:driven from spool to screw, such as 20:36,18:30")
        return None

    def screw_turns(self) -> Fraction | None:
        """Screw turns per pass; a fault is noted where nothing tells them."""
        if self._given.text("--screw-turns") is not None:
            return self._given.screw_turns()
        if self._machine is not None and self._machine.screw_turns_per_pass is not None:
            return self._machine.screw_turns_per_pass
        if self._machine is not None or self._given.text("--machine") is None:
            told = "nothing tells how often the screw turns to carry the guide across"
            self._given.fault("--screw-turns", f"{told}; give that, such as 2")
        return None

    def dwell_turns(self) -> Fraction:
        """Spool turns of a layer in which the guide stands; none unless told."""
        return self._given.dwell_turns() or Fraction(0)

    def strands(self) -> list[Strand]:
        """The strands of profiles, or else of the job."""
        named = self._given.text("--strand")
        names = [] if named is None else [named] if isinstance(named, str) else named
        if names or self._given.text("--diameter"):
            read = [self._profile("strand", "--strand", name) for name in names]
            return [strand for strand in read if strand is not None]
        return [self._job.strand] if self._job else []

    def diameters_mm(self) -> list[Fraction]:
        """The diameters of all strands given, in any way."""
        return [_exact(strand.mean_diameter_mm) for strand in self.strands()] + self._given.diameters_mm()

    def stroke_mm(self, diameter_mm: Fraction | None) -> Fraction | None:
        """The stroke: given, or what the spool's inside width leaves this strand; None where nothing tells it."""
        if self._given.text("--stroke") is not None:
            return self._stroke
        if self._machine is not None and self._machine.stroke_mm is not None:
            return _exact(self._machine.stroke_mm)
        if self._spool is None or diameter_mm is None:
            return None
        width = self._spool.inside_width_mm
        if width <= diameter_mm:
            room = f"{width:g} mm of inside width leave no room for strand of {float(diameter_mm):g} mm"
            self._given.fault("--spool", f"{room}; take a wider spool")
            return None
        return _exact(width) - diameter_mm


def _exact(value: float) -> Fraction:
    """A number of a file as it was written there, and not as the nearest float."""
    return Fraction(repr(value))


def _wanted(given: GivenOptions, sources: _Sources) -> WantedPitch | None:
    """What the options and files want; None with a fault noted where they do not tell."""
    screw_turns = sources.screw_turns()
    dwell_turns, tolerance = sources.dwell_turns(), given.tolerance()
    pitch = given.length_mm("--pitch")
    strands = [*sources.strands(), *(Strand(float(diameter)) for diameter in given.diameters_mm())]
    if len(strands) > 1:
        given.fault("--diameter", "given beside --strand; keep one")
    diameter = _exact(strands[0].mean_diameter_mm) if strands else None
    spread = _exact(strands[0].diameter_u_mm) if pitch is None and strands else None
    if diameter is not None and spread is not None:
        pitch = usual_pitch_mm(diameter, spread)
    elif pitch is None and not any(given.faulty(option) for option in ("--pitch", "--strand", "--diameter")):
        given.fault("--pitch", "nothing tells the wanted pitch; give it, or the strand with --strand or --diameter")
    stroke = sources.stroke_mm(diameter)
    if stroke is None and not any(given.faulty(option) for option in ("--stroke", "--spool", "--machine", "--strand")):
        given.fault("--stroke", "nothing tells the stroke; give it, such as 61.25mm, or a spool and a strand")
    if pitch is not None and diameter is not None and pitch_verdict(pitch, diameter) != "good":
        climbs = pitch < diameter
        given.fault(
            "--pitch",
            f"at {float(pitch):g} mm strand of {float(diameter):g} mm would {'climb' if climbs else 'lie with gaps'}; "
            f"give {'at least its diameter' if climbs else 'less'}",
        )
    if given.faults or pitch is None or stroke is None or screw_turns is None:
        return None
    return WantedPitch(pitch, stroke, screw_turns, diameter, tolerance, dwell_turns, spread)


def _choice(given: GivenOptions, default_least: int) -> Choice | None:
    """The gears to choose from; None with faults noted where that is impossible."""
    least = given.whole("--least-teeth") if given.text("--least-teeth") is not None else default_least
    stages, most = given.whole("--stages"), given.whole("--most-teeth")
    at_hand = given.teeth_list("--have")
    if stages is None or least is None or most is None:
        return None
    choice = Choice(least, most, stages, at_hand, coaxial=given.text("--coaxial"))
    for field, sentence in choice_faults(choice):
        if not given.faulty(_CHOICE_OPTIONS[field]):
            given.fault(_CHOICE_OPTIONS[field], sentence)
    return choice


def _nothing_found(search: Search, wanted: WantedPitch, choice: Choice) -> UsageError:
    """What is nearest, and only such mends as can help."""
    mends = ["take other gears" if choice.at_hand else "allow other teeth"]
    has_gears_for_more = not choice.at_hand or len(choice.at_hand) > 2 * choice.stages + 1
    if choice.stages < MOST_STAGES and not choice.coaxial and has_gears_for_more:
        mends.append("allow more stages")
    mends.append("change the screw turns per pass or the stroke")
    if search.nearest is None:
        return UsageError(f"None of {search.reach} trains lays this strand without climbing.", _either(mends))
    nearest = search.nearest
    gears = ",".join(f"{driver}:{driven}" for driver, driven in nearest.stages)
    missed = abs(nearest.pitch_error_mm) / wanted.pitch_mm
    if missed <= MOST_TOLERANCE and wanted.strand_diameter_mm is None:
        mends.append(f"raise --tolerance to {ceil(100 * missed)}")
    verdict = "" if wanted.strand_diameter_mm is None else ", and none lays this strand without gaps"
    return UsageError(
        f"None of {search.reach} trains comes within {float(100 * wanted.tolerance):g} % of "
        f"{float(wanted.pitch_mm):g} mm{verdict}; the nearest is {gears} with {float(nearest.pitch_mm):.4f} mm, "
        f"{float(100 * missed):.3g} % off.",
        _either(mends),
    )


def _either(mends: list[str]) -> str:
    """Such as "Take other gears, or allow more stages."."""
    text = ", or ".join(mends)
    return f"{text[0].upper()}{text[1:]}."
