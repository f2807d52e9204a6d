"""`reelwright plan`: what a job will be, before anything turns."""

from __future__ import annotations

from typing import Any

import click

from reelwright.cli.for_scripts import AS_JSON
from reelwright.cli.job_options import job_options, resolve_job
from reelwright.json_text import json_text
from reelwright.winding.plan import make_plan


@click.command("plan")
@job_options
@AS_JSON
@click.option("-o", "--output", metavar="FILE", help="Write the answer to FILE instead of the terminal.")
def command(path: str | None, as_json: bool, output: str | None, **options: Any) -> None:
    """Compute turns, layers, length, mass and fit of a job.

    The job is JOB.toml, or --spool, --strand and --machine with one of --length, --mass, --layers, --turns,
    --flange-margin. An option overrules the file.

    A job that must not be wound is answered too, with exit code 0: it then says "Forbidden", and --json lists the
    reasons in `blocking`.
    """
    if output is not None:
        from reelwright.cli.output_file import keep_apart  # not paid for where nothing is written

        keep_apart("-o", output, path)
    plan = make_plan(resolve_job(path, options))
    if as_json:
        text = json_text(plan.to_dict()) + "\n"
    elif output is None:
        from reelwright.views.plan import terminal_text  # the terminal's library is not paid for by --json

        text = terminal_text(plan)
    else:
        from reelwright.views.plan import plan_text

        text = plan_text(plan)
    if output is None:
        click.echo(text, nl=False)
    else:
        from pathlib import Path

        from reelwright.cli.output_file import write_whole  # as the terminal's library

        write_whole(Path(output), text)
