"""`reelwright checkup`: what is connected, how it is, and whether sensor and motor do as they should."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from reelwright.cli.amounts import WholeRange
from reelwright.cli.prose import say
from reelwright.errors import EXIT_DEVICE, EXIT_DONE, EXIT_INTERRUPTED, EXIT_TRIPPED, DeviceError, UsageError

if TYPE_CHECKING:
    from reelwright.condition import MotorResult
    from reelwright.device.client import Client
    from reelwright.ledger import Ledger
    from reelwright.operation.motor_test import MotorTest
    from reelwright.verdicts import Verdict
    from reelwright.winding.job import Machine

FORMAT = 1
MOST_TURNS = 20


@click.command("checkup")
@click.argument("machine_name", metavar="[MACHINE|JOB.toml]", required=False)
@click.option("--port", "port_name", metavar="PORT", help="Serial port of the winder. Default: the only one that fits.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, at the end.")
@click.option("--sensor", "with_sensor", is_flag=True, help="Test the sensor on turns that you make by hand.")
@click.option(
    "--turns",
    type=WholeRange(1, MOST_TURNS),
    default=3,
    show_default=True,
    help="How many, for the sensor test.",
)
@click.option("--motor", "with_motor", is_flag=True, help="Test the motor on a few slow turns. Asks first.")
@click.option(
    "--tune",
    "with_tune",
    is_flag=True,
    help="With --motor, for a DC machine: a second, faster run, and what the machine file should say of the drive.",
)
@click.option(
    "--loopback",
    "with_loopback",
    is_flag=True,
    help="Test the counter with pulses that the board makes, over jumpers from its loopback pins to the sensor's.",
)
@click.option(
    "--free-port",
    is_flag=True,
    help="Restart the board without its control loop, so that its port is free for uploads.",
)
def command(
    machine_name: str | None,
    port_name: str | None,
    as_json: bool,
    with_sensor: bool,
    turns: int,
    with_motor: bool,
    with_tune: bool,
    with_loopback: bool,
    free_port: bool,
) -> None:
    """Say what is connected and how it is; test sensor and motor.

    Without options it asks questions only. MACHINE, a machine profile's name, or the machine of JOB.toml says what the
    sensor and the motor should do; take the strand off the spool before either test. The checkup goes into the ledger.
    """
    if with_loopback and (with_sensor or with_motor):
        raise UsageError(
            "--loopback goes without the other tests: jumpers are in the sensor's place.", "Give it alone."
        )
    if free_port and (with_sensor or with_motor or with_loopback):
        raise UsageError("--free-port goes alone: the winder then tests nothing.", "Give the tests first.")
    if with_tune and not with_motor:
        raise UsageError("--tune goes with --motor: it goes on from that test.", "Give both.")
    machine = _machine(machine_name) if machine_name is not None or with_sensor or with_motor else None
    if with_motor and machine is not None and machine.drive == "hand":
        raise UsageError("A machine that is turned by hand has no motor to test.", "Give --sensor alone.")
    if with_tune and machine is not None:
        from reelwright.operation.motor_tune import fast_job

        fast_job(machine)  # what cannot be tuned is refused before anything is asked or turned
    sensor_turns = turns if with_sensor else 0
    sys.exit(_check_up(port_name, machine, sensor_turns, with_motor, with_tune, with_loopback, free_port, as_json))


def _machine(name: str | None) -> Machine:
    """The machine of a job file, or of a profile."""
    from reelwright.cli.job_options import faults_named
    from reelwright.profiles import is_job_file, load_job, load_part, profile_names

    if name is None:
        raise UsageError(
            "A test needs to know the machine.",
            f"Name a job file, or a machine profile; there are {', '.join(profile_names('machine'))}.",
        )
    if is_job_file(name):
        return load_job(name).machine
    with faults_named({"machine.profile": "MACHINE"}):
        part: Machine = load_part("machine", name)
    return part


def _check_up(
    port_name: str | None,
    machine: Machine | None,
    turns: int,
    with_motor: bool,
    with_tune: bool,
    with_loopback: bool,
    free_port: bool,
    as_json: bool,
) -> int:
    """The whole checkup on one connection; the exit code."""
    from attrs import asdict

    from reelwright.device.client import Client
    from reelwright.device.discovery import find_port
    from reelwright.device.port import Port
    from reelwright.json_text import json_text
    from reelwright.ledger import open_ledger
    from reelwright.operation.checkup import look
    from reelwright.views.checkup_page import fact_lines

    with ExitStack() as stack:
        ledger = stack.enter_context(open_ledger())
        port = Port(port_name or find_port())
        stack.callback(port.close)
        client = Client(port)
        winder = client.hello()
        if free_port:
            return _free_port(client, as_json=as_json)
        checkup = look(client, winder, ledger)
        report = {"kind": "checkup", "format": FORMAT, **checkup.to_dict()}
        verdicts = list(checkup.verdicts)
        if not as_json:
            for line in fact_lines(checkup, machine):
                click.echo(line)
            _show(verdicts)
        if turns and machine is not None:
            verdicts += _sensor(client, machine, turns, report, as_json=as_json)
        if with_loopback:
            verdicts += _loopback(client, winder.capabilities, checkup.highest_rate_pulses_s, report, as_json=as_json)
        motor = None
        if with_motor and machine is not None:
            motor = _motor(client, machine, ledger, report, verdicts, with_tune=with_tune, as_json=as_json)
        report["verdicts"] = [asdict(each) for each in verdicts]
        ledger.record_checkup(client.port_name, report)
        if as_json:
            click.echo(json_text(report))
    if motor is not None and motor.trip:
        return EXIT_TRIPPED
    if motor is not None and motor.stopped:
        return EXIT_INTERRUPTED
    return EXIT_DEVICE if any(each.rank == "fault" for each in verdicts) else EXIT_DONE


def _free_port(client: Client, *, as_json: bool) -> int:
    from reelwright.json_text import json_text
    from reelwright.operation.maintenance import free_port

    told = free_port(client)
    click.echo(json_text({"kind": "port_free", "format": FORMAT, "port": client.port_name}) if as_json else told)
    return EXIT_DONE


def _sensor(client: Client, machine: Machine, turns: int, report: dict[str, object], *, as_json: bool) -> list[Verdict]:
    from attrs import asdict

    from reelwright.operation.sensor_test import SensorTest, judge_sensor

    expected = float(machine.pulses_per_spool_turn)
    result = SensorTest(client, expected, lambda text: click.echo(text, err=as_json)).run(turns)
    found = judge_sensor(result, machine)
    report["sensor"] = {"expected_pulses_per_turn": expected, **asdict(result)}
    if not as_json:
        _show(found)
    return found


def _loopback(
    client: Client, capabilities: int, limit_pulses_s: float, report: dict[str, object], *, as_json: bool
) -> list[Verdict]:
    from attrs import asdict

    from reelwright.operation.loopback_test import LoopbackRow, highest_rate, judge_loopback, run_loopback
    from reelwright.winding.nouns import count_of

    def show(row: LoopbackRow) -> None:
        bounce = ", bouncing" if row.bounces else ""
        off = "" if row.right else f", {count_of(abs(row.expected - row.counted), 'pulse')} off"
        click.echo(
            f"{row.rate:>9.1f} pulses/s{bounce}: {row.expected} expected, {row.counted} counted{off}", err=as_json
        )

    rows = run_loopback(client, capabilities, show)
    found = judge_loopback(rows, limit_pulses_s)
    report["loopback"] = {
        "rows": [{**asdict(row), "right": row.right} for row in rows],
        "highest_pulses_s": highest_rate(rows),
        "limit_pulses_s": limit_pulses_s,
    }
    if not as_json:
        _show(found)
    return found


def _motor(
    client: Client,
    machine: Machine,
    ledger: Ledger,
    report: dict[str, object],
    verdicts: list[Verdict],
    *,
    with_tune: bool,
    as_json: bool,
) -> MotorResult:
    """The test, once the operator has agreed to it; its verdicts join the others."""
    from attrs import asdict

    from reelwright.cli.wind import counting
    from reelwright.operation.motor_test import MotorTest, judge_motor
    from reelwright.operation.motor_tune import fast_job

    test = MotorTest(machine, client, ledger)
    fast = MotorTest(machine, client, ledger, job=fast_job(machine)) if with_tune else None
    _have_confirmed([test, fast] if fast else [test])
    with counting() as interrupts:
        result = test.run(interrupts)
        found = judge_motor(result, test.plan)
        report["motor"] = {"wanted_rpm": test.wanted_rpm, **asdict(result)}
        if fast and not result.trip and not result.stopped:
            result = fast.run(interrupts)
            # what holds of the sensor is told once
            found += [each for each in judge_motor(result, fast.plan) if each not in found]
            report["motor_fast"] = {"wanted_rpm": fast.wanted_rpm, **asdict(result)}
    lines: list[str] = []
    if "motor_fast" in report and fast and not result.stopped and all(each.rank != "fault" for each in found):
        lines = _tuned(machine, test, fast, report, found)
    verdicts += found
    if not as_json:
        _show(found)
        for line in lines:
            click.echo(line)
    return result


def _tuned(
    machine: Machine, slow: MotorTest, fast: MotorTest, report: dict[str, object], found: list[Verdict]
) -> list[str]:
    """The drive's figures, in the report and as lines; where they cannot be told, a verdict joins what was found."""
    from attrs import asdict

    from reelwright.operation.motor_tune import Run, tune
    from reelwright.verdicts import verdict
    from reelwright.views.checkup_page import tuning_lines

    try:
        tuning = tune(machine, Run(slow.wanted_rpm, slow.samples), Run(fast.wanted_rpm, fast.samples))
    except DeviceError as failure:
        found.append(verdict("motor_not_tuned", sentence=failure.message, remedy=failure.remedy))
        return []
    report["tuning"] = asdict(tuning)
    return list(tuning_lines(tuning))


def _have_confirmed(tests: list[MotorTest]) -> None:
    """Show the cautions, and go on only when the operator types the words. Raises UsageError."""
    from reelwright.operation.motor_test import CAUTIONS, PASSWORD

    say(CAUTIONS, err=True)
    runs = ", then ".join(f"{test.plan.turns:.0f} turns at {test.wanted_rpm:.0f} rpm" for test in tests)
    click.echo(f"It makes {runs}. To begin, type: {PASSWORD}", err=True)
    if not sys.stdin.isatty():
        raise UsageError(
            "The motor test takes its words from a terminal alone: whoever types them has a hand on the stop.",
            "Give the command at a terminal.",
        )
    click.echo("> ", nl=False, err=True)
    if sys.stdin.readline().strip() != PASSWORD:
        raise UsageError(
            "The motor test was not confirmed: nothing was moved.",
            f'Take the emergency stop in hand, give the command again, and type "{PASSWORD}" when it asks.',
        )


def _show(verdicts: list[Verdict]) -> None:
    from reelwright.views.checkup_page import verdict_lines

    for line in verdict_lines(verdicts):
        say(line)
