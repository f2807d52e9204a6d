"""`reelwright simulate`: a winder without hardware, for as long as the command runs."""

from __future__ import annotations

import math
import shlex
import signal
import sys
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

import click

from reelwright.cli.amounts import WholeRange
from reelwright.cli.job_options import job_options, resolve_job
from reelwright.cli.output_file import keep_apart
from reelwright.cli.prose import say
from reelwright.errors import DeviceError
from reelwright.json_text import json_text
from reelwright.operation.commands import JOB_FILE, PROGRAM
from reelwright.simulator.spec import FAULTS, PACE_MAX, SEEN_BY, STRIKES, SimulatorOptions
from reelwright.views.quantities import turns_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from types import FrameType

    from reelwright.simulator import Simulator
    from reelwright.winding.job import Machine

    NumberType = click.ParamType[float]
    FaultType = click.ParamType[tuple[str, float]]
else:
    # older versions of click take no type arguments here
    NumberType = FaultType = click.ParamType

HIGHEST_PACE = 9999
HIGHEST_SEED = 2**31 - 3

EPILOG = "\b\nFaults:\n" + "\n".join(f"  {word:<16} {text}" for word, text in FAULTS.items())


class Pace(NumberType):
    """Virtual seconds in a real one: a whole number, since the link tells it as one, or `max`."""

    name = "X|max"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The pace, PACE_MAX for max."""
        if isinstance(value, float):
            return value
        if value == "max":
            return PACE_MAX
        if not (value.isascii() and value.isdecimal() and len(value) < 9 and 1 <= int(value) <= HIGHEST_PACE):
            self.fail(f"{value!r} is no pace: give a whole number from 1 to {HIGHEST_PACE}, or max.", param, ctx)
        return float(value)


class PlannedFault(FaultType):
    """A kind of fault and the turns at which it strikes, as KIND@TURNS."""

    name = "KIND@TURNS"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, float]:
        """The kind and the turns."""
        if isinstance(value, tuple):
            return value
        kind, at, text = value.partition("@")
        if kind not in FAULTS:
            self.fail(f"{kind!r} is no kind of fault; there are: {', '.join(FAULTS)}.", param, ctx)
        try:
            turns = float(text)
        except ValueError:
            turns = math.nan
        if not at or not math.isfinite(turns) or turns < 0:
            self.fail(
                f"{value!r}: write {kind}@TURNS, with turns of the spool from 0 up, such as {kind}@12.5.", param, ctx
            )
        return kind, turns


class Above0(NumberType):
    """A number above 0 and at most a limit."""

    def __init__(self, name: str, most: float) -> None:
        self.name = name
        self._most = most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number."""
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not 0 < number <= self._most:
            self.fail(f"{value!r} must be a number above 0, at most {self._most:g}.", param, ctx)
        return number


def _slack_below_snag(given: tuple[float, int, int] | None) -> tuple[float, int, int] | None:
    """What was given for a tension sensor. Raises BadParameter where one of its limits would always act."""
    if given is not None and 0 < given[1] <= given[2]:
        raise click.BadParameter(
            f"SLACK, {given[2]}, is not below SNAG, {given[1]}: one of them always acts. Give a lower SLACK, or 0 for"
            " either that shall not be told."
        )
    return given


@click.command("simulate", epilog=EPILOG)
@job_options
@click.option("--seed", type=WholeRange(0, HIGHEST_SEED), default=1, show_default=True, help="One seed, one run.")
@click.option(
    "--pace", type=Pace(), default="1", show_default=True, help="Virtual seconds in a real one; max: as fast as it can."
)
@click.option("--fault", "faults", type=PlannedFault(), multiple=True, help="Goes wrong then; may be repeated.")
@click.option("--true-diameter-mm", type=Above0("MM", 50), help="What the strand really measures. Default: as planned.")
@click.option("--true-rise", type=Above0("FACTOR", 1.5), help="How layers really rise. Default: as planned.")
@click.option("--truth", "truth_path", metavar="FILE", default="", help="JSON lines of what truly happens.")
@click.option("--turn-by-hand", "turned_by_hand", is_flag=True, help="Turn the spool once, again and again, at rest.")
@click.option(
    "--tension-level",
    type=(Above0("N", 1000), WholeRange(0, 999), WholeRange(0, 999)),
    metavar="N SNAG SLACK",
    callback=lambda _, __, given: _slack_below_snag(given),
    help="A tension sensor in place of the strand's switches: newtons at its end, and the permille above which it"
    " tells a snag, below which slack strand; 0 for neither.",
)
@click.option("--socket", "as_socket", is_flag=True, help="Offer a socket:// port instead of a pseudo-terminal.")
@click.option("--json", "as_json", is_flag=True, help="JSON lines at a terminal too, as into a pipe or a file.")
def command(
    path: str | None,
    seed: int,
    pace: float,
    faults: tuple[tuple[str, float], ...],
    true_diameter_mm: float | None,
    true_rise: float | None,
    truth_path: str,
    turned_by_hand: bool,
    tension_level: tuple[float, int, int] | None,
    as_socket: bool,
    as_json: bool,
    **options: Any,
) -> None:
    """Offer the winder of JOB.toml behind a serial port: the project's own firmware on a simulated machine.

    It has one empty take-up spool and one pay-off spool: for a further wind start it again. Runs until Ctrl-C, then
    says what truly happened. Where output goes into a pipe or a file, its first line is JSON with the port.
    """
    from reelwright.simulator import Simulator
    from reelwright.winding.plan import make_plan

    keep_apart("--truth", truth_path, path)
    job = resolve_job(path, options)
    for note in fault_notes(job.machine, [kind for kind, _ in faults]):
        say(f"Note: {note}", err=True)
    simulator_options = SimulatorOptions(
        seed=seed,
        pace=pace,
        faults=faults,
        true_diameter_mm=true_diameter_mm,
        true_rise=true_rise,
        truth_path=truth_path,
        turned_by_hand=turned_by_hand,
        tension_level=tension_level,
        transport="socket" if as_socket else "pty",
    )
    with _interruptible(), suppress(KeyboardInterrupt), Simulator(job, make_plan(job), simulator_options) as simulator:
        if simulator.notice:
            say(simulator.notice, err=True)
        for_people = sys.stdout.isatty() and not as_json
        code = _serve(simulator, path, for_people=for_people)
        simulator.stop()
        truth = simulator.truth()
        if truth.get("kind") != "end":
            say("Note: the truth is not whole; look for a full disk.", err=True)
        if for_people:
            say(_truth_text(truth))
        else:
            click.echo(json_text({**truth, "kind": "truth"}))
        if code:
            raise DeviceError(
                f"The simulated winder ended by itself with code {code}: {simulator.complaint()}",
                "Report it with this text; it should not happen.",
            )


def _serve(simulator: Simulator, path: str | None, *, for_people: bool) -> int:
    """Tell the port, then wait for Ctrl-C (0) or for the winder's own end (its exit code)."""
    try:
        if for_people:
            _greet(simulator, path)
        else:
            click.echo(json_text(_port_record(simulator)))
        while (code := simulator.wait(3600.0)) is None:
            pass
    except KeyboardInterrupt:
        return 0
    return code


def _pace(simulator: Simulator) -> float | str:
    return "max" if simulator.options.pace == PACE_MAX else simulator.options.pace


def _port_record(simulator: Simulator) -> dict[str, object]:
    return {
        "kind": "simulator",
        "port": simulator.port,
        "interpreter": simulator.interpreter,
        "seed": simulator.options.seed,
        "pace": _pace(simulator),
    }


def _greet(simulator: Simulator, path: str | None) -> None:
    """Say to a person where the winder answers, and the command to wind on it: that one is not broken, to be copied."""
    pace = _pace(simulator)
    speed = "as fast as it can" if pace == "max" else f"{pace:g} times as fast as a real one"
    say(
        f"A simulated winder answers at {simulator.port}\n"
        f"Its firmware runs on {simulator.interpreter}, {speed}. Ctrl-C ends it. To wind on it, in another terminal:"
    )
    click.echo(f"  {shlex.join([PROGRAM, 'wind', path or JOB_FILE, '--port', simulator.port])}")


def _truth_text(truth: dict[str, Any]) -> str:
    """What truly happened, in words; the truth may lack its end."""
    if "true_length_m" not in truth:
        return "What truly happened is not known."
    return (
        f"Truly wound: {truth['true_length_m']:.3f} m in {turns_text(truth['true_turns'])} turns, "
        f"{truth['true_pulses']:.1f} pulses of the sensor."
    )


def fault_notes(machine: Machine, kinds: Iterable[str]) -> Iterator[str]:
    """A sentence on each fault that does nothing to this machine, or that it does not notice."""
    for kind in kinds:
        if machine.drive not in STRIKES.get(kind, (machine.drive,)):
            only = " or ".join(STRIKES[kind])
            yield f"{kind} does nothing with drive {machine.drive}: it is a fault of {only}."
        elif kind == "swapped_channels" and machine.sensor == "single":
            yield f"{kind} does nothing with sensor single: one channel has no direction."
        elif kind == "sensor_weak" and machine.drive != "stepper" and "measuring_wheel" not in machine.fitted:
            yield f"only a stepper or a measuring wheel notices {kind}; here the spool may hold more than is counted."
        elif kind == "sensor_dead" and machine.drive == "hand" and "measuring_wheel" not in machine.fitted:
            yield (
                f"only a driven spool or a measuring wheel notices {kind}, as a hand may stand still; here the spool"
                " may hold more than is counted."
            )
        part = SEEN_BY.get(kind)
        if part is not None and part not in machine.fitted:
            yield f"{part} is not in machine.fitted, so it will not tell the winder of {kind}."


@contextmanager
def _interruptible() -> Iterator[None]:
    """SIGTERM and SIGHUP end the command as Ctrl-C does, so that the winder's process is ended with it.

    So does SIGINT where a shell has started the command in the background, which ignores it otherwise.
    """

    def interrupt(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the signature of a handler
        raise KeyboardInterrupt

    names = [name for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), interrupt) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
