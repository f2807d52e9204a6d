"""`reelwright wind`: load, start, follow, record."""

from __future__ import annotations

import signal
import sys
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

import click
from attrs import frozen

from reelwright.cautions import CAUTION
from reelwright.cli.agreement import GIVE_OR_TAKE_TURNS, Consent
from reelwright.cli.amounts import FiniteRange
from reelwright.cli.job_options import job_options, resolve_job
from reelwright.cli.output_file import keep_apart
from reelwright.errors import EXIT_CODES, UsageError
from reelwright.views.keys import keys_help
from reelwright.views.quantities import turns_text
from reelwright.views.untrusted import plain_text
from windlink import codes
from windlink.sentences import DOUBTS, TRIPS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from types import FrameType
    from typing import Any, NoReturn

    from reelwright.device.client import Client, Winder
    from reelwright.device.transcript import Transcript
    from reelwright.ledger import Ledger
    from reelwright.operation.wind import Ending, Interrupts
    from reelwright.views import View
    from reelwright.winding.job import Job
    from reelwright.winding.planned import Plan

LINK_WAIT_S = 60.0  # time to find a cable and plug it in

EPILOG = f"""\b
Keys (words, a line each, when input is no terminal):
{keys_help()}

\b
Exit codes:
{chr(10).join(f"  {code}  {text}" for code, text in EXIT_CODES.items())}
"""


@click.command("wind", epilog=EPILOG)
@job_options
@click.option("--port", "port_name", metavar="PORT", help="Serial port of the winder. Default: the only one that fits.")
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="One JSON object a line: progress, event, result. Keys with _u_ are standard uncertainties.",
)
@click.option("--transcript", type=click.Path(dir_okay=False), help="Keep every line of the link here, with its time.")
@click.option("--go-on", "go_on_at_stops", is_flag=True, help="Go on by itself at each planned stop.")
@click.option(
    "--clear",
    metavar="TRIP",
    type=click.Choice([saying.word for saying in TRIPS.values()]),
    help="Clear this trip, once its cause is mended, and go on.",
)
@click.option(
    "--link-wait",
    "link_wait_s",
    metavar="SECONDS",
    type=FiniteRange(0, 86400),
    default=LINK_WAIT_S,
    show_default=True,
    help="Wait so long for a lost link to come back.",
)
@click.option(
    "--drop-held",
    is_flag=True,
    help="Abandon the job that the winder still holds, or was at when it restarted, and begin this one at zero.",
)
@click.option(
    "--resume",
    "as_resume",
    is_flag=True,
    help="Go on with the job that the winder was at when it restarted, or still holds.",
)
@click.option("--agree", is_flag=True, help="With --resume: agree to the count that is proposed.")
@click.option(
    "--agree-within",
    "agree_within_turns",
    type=FiniteRange(min=0),
    metavar="TURNS",
    help="With --resume: agree even to a count that may be off, or contradicts what is known, by so many turns.",
)
@click.option(
    "--counted-turns",
    type=FiniteRange(min=0),
    metavar="TURNS",
    help="With --resume: turns of this job on the spool, as you have counted them.",
)
@click.option(
    "--give-or-take",
    "give_or_take_turns",
    type=FiniteRange(min=0),
    metavar="TURNS",
    help=f"How far --counted-turns may be off. Default: {GIVE_OR_TAKE_TURNS}.",
)
def command(
    path: str | None,
    port_name: str | None,
    as_json: bool,
    transcript: str | None,
    go_on_at_stops: bool,
    clear: str | None,
    drop_held: bool,
    as_resume: bool,
    agree: bool,
    agree_within_turns: float | None,
    counted_turns: float | None,
    give_or_take_turns: float | None,
    link_wait_s: float,
    **options: Any,
) -> None:
    """Wind JOB.toml: load it into the winder, start it, follow it to its target, and record it.

    The winder alone enforces every stop. Given again after an interruption, the same command picks the job up
    where it is. Ctrl-C once brings the winder to rest, twice abandons the job.

    After a restart of the winder, --resume tells what it remembers and what the ledger has, says how many turns are
    uncertain, and goes on from a count that you agree to: of JOB.toml, of the job with this number, or of the one that
    the winder remembers. A job that the winder still holds goes on from where it is.
    """
    from pathlib import Path as FilePath

    from reelwright.winding.plan import make_plan

    keep_apart("--transcript", transcript, path)
    transcript_path = FilePath(transcript) if transcript else None
    consent = Consent(agree, agree_within_turns, count_by_eye(counted_turns, give_or_take_turns))
    if as_resume:
        from reelwright.cli.resume import resume

        if drop_held:
            raise UsageError("--resume does not go with --drop-held.", "Give one of them.")
        job, job_id = named_job(path, options)
        ending = resume(
            job,
            job_id,
            port_name,
            as_json=as_json,
            transcript_path=transcript_path,
            go_on_at_stops=go_on_at_stops,
            clear=clear,
            consent=consent,
            link_wait_s=link_wait_s,
            words=sys.argv[1:],
        )
        _end(ending, port_name, go_on_at_stops=go_on_at_stops)
    if consent.was_given:
        raise UsageError(
            "--agree, --agree-within, --counted-turns and --give-or-take go with --resume.",
            "Give them with it, or leave them out.",
        )
    job = resolve_job(path, options)
    plan = make_plan(job)
    refuse_impossible(plan)
    ending = wind(
        plan,
        port_name,
        as_json=as_json,
        transcript_path=transcript_path,
        go_on_at_stops=go_on_at_stops,
        clear=clear,
        drop_held=drop_held,
        link_wait_s=link_wait_s,
        words=sys.argv[1:],
    )
    _end(ending, port_name, go_on_at_stops=go_on_at_stops)


def count_by_eye(turns: float | None, give_or_take_turns: float | None) -> tuple[float, float] | None:
    """The turns that the operator has counted and how far they may be off; None where there are none."""
    if turns is None:
        if give_or_take_turns is not None:
            raise UsageError("--give-or-take goes with --counted-turns.", "Give both, or neither.")
        return None
    return turns, GIVE_OR_TAKE_TURNS if give_or_take_turns is None else give_or_take_turns


def named_job(path: str | None, options: dict[str, Any]) -> tuple[Job | None, int | None]:
    """The job that --resume is to go on with: of a file or of options, or the number of one, or neither."""
    from pathlib import Path as FilePath

    if path is not None and path.isascii() and path.isdecimal() and not FilePath(path).exists():
        return None, int(path)
    if path is None and not any(options.values()):
        return None, None
    return resolve_job(path, options), None


def _end(ending: Ending, port_name: str | None, *, go_on_at_stops: bool) -> NoReturn:
    """Say how to go on, where that is possible, and leave."""
    from reelwright.operation.commands import counted_command, resume_command

    again = resume_command(ending.job_id, port_name or "", *["--go-on"] * go_on_at_stops)
    if ending.trip == TRIPS[codes.RESTARTED].word:
        click.echo(plain_text(f"To go on with the job: {again}"), err=True)
    elif ending.held:
        how = "Once its cause is mended, clear it and go on" if ending.trip else "To go on"
        cleared = f" --clear {ending.trip}" if ending.trip else ""
        click.echo(plain_text(f"The job is still in the winder. {how}: {again}{cleared}"), err=True)
        if ending.trip in [TRIPS[code].word for code in DOUBTS]:
            counted = counted_command(ending.job_id, port_name or "")
            unlike = "If its count is not what is on the spool, switch the winder off and on, and give the turns"
            click.echo(plain_text(f"{unlike}: {counted}"), err=True)
    sys.exit(ending.exit_code)


def refuse_impossible(plan: Plan) -> None:
    """Raises UsageError when the plan says that this wind cannot end well."""
    reasons = [finding.message for finding in plan.findings if finding.blocks]
    if reasons:
        raise UsageError("This job cannot be wound. " + " ".join(reasons), "Change the job, or the spool.")


def heading(plan: Plan, port_name: str) -> str:
    """One line that says which wind this is."""
    spool = plan.job.take_up.name or "the take-up spool"
    length_m = plan.length_m_at(plan.target_pulses)
    return f"{length_m:.2f} m onto {spool}, {turns_text(plan.counted_turns)} turns, at {port_name}"


def wind(
    plan: Plan,
    port_name: str | None,
    *,
    as_json: bool,
    transcript_path: Path | None = None,
    go_on_at_stops: bool = False,
    clear: str | None = None,
    drop_held: bool = False,
    link_wait_s: float = LINK_WAIT_S,
    words: Sequence[str] = (),
) -> Ending:
    """One whole wind of a plan's job on a port. words: of the command line, after the program's name.

    Raises NotAgreedError, and what `Arrival.begin` raises.
    """
    from reelwright.cli.empty_spool import ask_for_empty_spool

    with ExitStack() as stack:
        link = stack.enter_context(attached(port_name, transcript_path))
        if sys.stdin.isatty() and not as_json:
            link = ask_for_empty_spool(link, plan, drop_held=drop_held)
        # only from here on: until the operator has answered, Ctrl-C just leaves
        interrupts = stack.enter_context(counting())
        return followed(
            link,
            plan,
            interrupts,
            as_json=as_json,
            go_on_at_stops=go_on_at_stops,
            clear=clear,
            drop_held=drop_held,
            link_wait_s=link_wait_s,
            words=words,
        )


def followed(
    link: Link,
    plan: Plan,
    interrupts: Interrupts,
    *,
    as_json: bool,
    go_on_at_stops: bool,
    clear: str | None,
    drop_held: bool = False,
    link_wait_s: float,
    words: Sequence[str] = (),
) -> Ending:
    """Bring a job to a winder, or pick it up there, and follow it to its rest."""
    from reelwright.operation.arrival import Arrival
    from reelwright.views import choose_view
    from reelwright.views.keys import Keys

    with ExitStack() as stack:
        view = stack.enter_context(choose_view(as_json=as_json, heading=heading(plan, link.port_name)))
        if plan.job.machine.drive != "hand":
            view.notice(CAUTION)
        keys = stack.enter_context(Keys(tell=view.notice))
        arrival = Arrival(
            plan.job, plan, link.client, link.ledger, view, link.winder, link.port_name, interrupts, words
        )
        under_way = arrival.begin(clear=clear, drop_held=drop_held)
        # at a terminal there is somebody to mend and clear a trip; a script gets its exit code
        attended = sys.stdin.isatty() and not as_json
        ending = under_way.follow(
            keys, interrupts, go_on_at_stops=go_on_at_stops, stay_on_trip=attended, link_wait_s=link_wait_s
        )
        link.tell_fault(view)
        return ending


@frozen
class Link:
    """A winder that has answered, and the ledger beside it."""

    client: Client
    ledger: Ledger
    winder: Winder
    port_name: str
    transcript: Transcript | None

    def tell_fault(self, view: View) -> None:
        """Tell of a transcript that could not be kept."""
        if self.transcript and self.transcript.fault:
            view.notice(self.transcript.fault)


@contextmanager
def attached(port_name: str | None, transcript_path: Path | None) -> Iterator[Link]:
    """Ledger and winder, both open; the winder is the one at the port, or the only one there is."""
    from reelwright.device.client import Client
    from reelwright.device.discovery import find_port
    from reelwright.device.port import Port
    from reelwright.device.transcript import Transcript
    from reelwright.ledger import open_ledger

    port_name = port_name or find_port()
    with ExitStack() as stack:
        ledger = stack.enter_context(open_ledger())
        port = Port(port_name)
        stack.callback(port.close)
        transcript = Transcript(transcript_path) if transcript_path else None
        if transcript:
            stack.callback(transcript.close)
        client = Client(port, transcript)
        yield Link(client, ledger, client.hello(), port_name, transcript)


@contextmanager
def counting() -> Iterator[Interrupts]:
    """Count Ctrl-C (and a request to end, and a terminal that is closed) instead of raising; the third one ends this
    program, not the wind."""
    from reelwright.operation.wind import Interrupts

    interrupts = Interrupts()

    hangup = getattr(signal, "SIGHUP", None)

    def count(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the signal module's signature
        if number == hangup and interrupts.count:
            return  # the system and the shell both tell of one terminal: that is no second press
        interrupts.count += 1
        if interrupts.count > 2:
            raise KeyboardInterrupt

    ends = [signal.SIGINT, signal.SIGTERM]
    # a program that nohup has started lives on without its terminal
    if hangup is not None and signal.getsignal(hangup) != signal.SIG_IGN:
        ends.append(hangup)
    before = {each: signal.signal(each, count) for each in ends}
    try:
        yield interrupts
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
