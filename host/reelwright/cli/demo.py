"""`reelwright demo`: the whole job on a simulated winder, from an invented scenario."""

from __future__ import annotations

import os
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reelwright.cli.prose import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.ledger import WindRecord
    from reelwright.winding.planned import Plan

SCENARIO = """\
The village of Osterdale keeps a workshop for its school. Each class gets a small spool with
{length:g} m of strand, wound from the big spool on the bench winder, with a stop at layer {stop}
to tie in the class's tag. The strand is a little thinner than its label says and beds down a
little more than planned, as real strand does: the simulated winder knows the truth, the plan
does not. Everything below is invented; nothing turns but a simulation."""

JOB = """\
[take_up]
name = "class spool"
barrel_diameter_mm = 64.0
flange_diameter_mm = 102.0
inside_width_mm = 35.0
empty_mass_g = 48.0

[pay_off]
name = "big spool"
gross_mass_g = 815.0
empty_mass_g = 212.0

[strand]
diameter_mm = 1.75
diameter_u_mm = 0.02
material = "PLA"

[machine]
name = "bench winder"
gears = [[20, 35], [18, 27]]
screw_turns_per_pass = 7
pulses_per_turn = 24
drive = "dc"
spool_rpm = 140
max_spool_rpm = 160
acceleration_rpm_s = 90

[target]
length_m = 40
leader_m = 0.3
pause_at_layers = [4]
"""

SEED = 11
PACE = 8
TRUE_DIAMETER_MM = 1.735
TRUE_RISE = 0.95


@click.command("demo")
def command() -> None:
    """Plan, wind on a simulated winder, record, and compare with what truly happened. Takes some ten seconds.

    Its ledger is its own, and ends with it; yours is not touched.
    """
    from reelwright.cli.wind import wind
    from reelwright.ledger import open_ledger
    from reelwright.profiles import load_job
    from reelwright.simulator import Simulator, SimulatorOptions
    from reelwright.views.plan import terminal_text
    from reelwright.winding.plan import make_plan

    with tempfile.TemporaryDirectory(prefix="reelwright-demo-") as folder, own_home(Path(folder)):
        job_file = Path(folder) / "class-spool.toml"
        job_file.write_text(JOB, encoding="utf-8")
        job = load_job(job_file)
        plan = make_plan(job)
        click.echo(SCENARIO.format(length=plan.length_m, stop=job.target.pause_at_layers[0]) + "\n")
        click.echo(terminal_text(plan), nl=False)
        options = SimulatorOptions(seed=SEED, pace=PACE, true_diameter_mm=TRUE_DIAMETER_MM, true_rise=TRUE_RISE)
        with Simulator(job, plan, options) as simulator:
            say(
                f"\nA simulated winder answers at {simulator.port}; its firmware runs on {simulator.interpreter},"
                f" {PACE} times as fast as a real one.\n"
            )
            ending = wind(plan, simulator.port, as_json=False, go_on_at_stops=True)
            truth = simulator.truth()
        with open_ledger() as ledger:
            record = ledger.winds(1)[0]
        compare(plan, record, truth)
        say(
            f"The ledger kept all this as job {record.job_id}. The demo's ledger ends with it; after a wind of yours,"
            " `reelwright ledger show` tells it again."
        )
    sys.exit(ending.exit_code)


@contextmanager
def own_home(folder: Path) -> Iterator[None]:
    """Let ledger and profiles live in this folder for a while."""
    before = os.environ.get("REELWRIGHT_HOME")
    os.environ["REELWRIGHT_HOME"] = str(folder)
    try:
        yield
    finally:
        if before is None:
            del os.environ["REELWRIGHT_HOME"]
        else:
            os.environ["REELWRIGHT_HOME"] = before


def compare(plan: Plan, record: WindRecord, truth: dict[str, Any]) -> None:
    """Planned, counted and true, side by side."""
    from reelwright.views.page import terminal_page
    from reelwright.views.quantities import turns_text
    from reelwright.views.tables import Column, FigureTable

    result = record.result
    if result is None or not result.length_m:
        return
    true_m = truth["true_length_m"] - plan.job.target.leader_m
    table = FigureTable(
        Column("On the class spool", words=True), Column("Length", "m"), Column("Turns"), Column("Pulses")
    )
    table.add_row("planned", f"{plan.length_m:.2f}", turns_text(plan.counted_turns), str(plan.target_pulses))
    table.add_row(
        "counted (k = 2)",
        f"{result.length_m:.2f} ± {2 * result.length_u_m:.2f}",
        turns_text(result.turns),
        str(result.counted_pulses),
    )
    table.add_row("true", f"{true_m:.2f}", turns_text(truth["true_turns"]), f"{truth['true_pulses']:.1f}")
    click.echo(terminal_page(lambda console: console.print(table)), nl=False)
    click.echo(f"\nLedger entry {record.job_id}.")
    off_m = true_m - result.length_m
    inside = "inside" if abs(off_m) <= 2 * result.length_u_m else "outside"
    share = 100 * off_m / result.length_m
    click.echo(f"The true length is {off_m:+.2f} m ({share:+.2f} %) off the counted one, {inside} its error bar.")
