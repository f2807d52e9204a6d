"""`reelwright ledger`: what has been wound, as a list, in full, and as a table for other programs."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reelwright.cli.amounts import WholeRange
from reelwright.errors import UsageError
from reelwright.json_text import json_text
from reelwright.ledger import ledger_path, open_ledger
from reelwright.views.untrusted import plain_lines, plain_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.ledger import Ledger, WindRecord

LISTED = 20
EMPTY = "The ledger is empty: `reelwright wind` records each wind."
HOW_TO_SEE = "`reelwright ledger list` shows the jobs that the ledger holds."


@click.group(invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Of the bare command: one JSON object a line.")
@click.pass_context
def command(context: click.Context, as_json: bool) -> None:
    """What has been wound: list it, show one wind in full, export all. Bare, it lists.

    The ledger is a file in your user data folder; REELWRIGHT_HOME names another folder for it.
    """
    if context.invoked_subcommand is None:
        context.invoke(list_winds, limit=LISTED, as_json=as_json)
    elif as_json:
        raise UsageError(
            "--json stands before the command.", f"Write `reelwright ledger {context.invoked_subcommand} --json`."
        )


@command.command("list")
@click.option("--limit", type=WholeRange(min=1), default=LISTED, show_default=True, help="At most this many.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def list_winds(limit: int, as_json: bool) -> None:
    """The newest winds, the last one first."""
    with _ledger() as ledger:
        records = _as_they_stand(ledger, limit)
    if as_json:
        from reelwright.views.ledger_rows import facts_for_programs

        for record in records:
            click.echo(json_text(facts_for_programs(record)))
    elif not records:
        click.echo(EMPTY)
    else:
        from reelwright.views.ledger_table import show_list

        show_list(records)


@command.command("show")
@click.argument("job_id", type=int, required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object, with every count and event.")
def show(job_id: int | None, as_json: bool) -> None:
    """What is on a spool and how it got there. Without JOB_ID: the last wind."""
    with _ledger() as ledger:
        record = _wanted(ledger, job_id)
        if ledger is None or record is None:
            click.echo(EMPTY)
            return
        record = _as_it_stands(record, ledger)
        counts = ledger.counts(record.job_id)
        events = ledger.events(record.job_id)
    if as_json:
        from reelwright.views.ledger_rows import everything_for_programs

        click.echo(json_text(everything_for_programs(record, counts, events)))
    else:
        from reelwright.views.ledger_table import show_wind

        show_wind(record, counts, events)


@command.command("export")
@click.option(
    "--csv",
    is_flag=True,
    expose_value=False,  # there is one format, named or not
    help="As comma-separated values (RFC 4180), one wind a row: the default.",
)
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to this file, whole or not at all.")
def export(output: Path | None) -> None:
    """Every wind as a table for other programs."""
    from reelwright.views.ledger_rows import csv_text

    with _ledger() as ledger:
        records = _as_they_stand(ledger)
    text = csv_text(records)
    if output is None and sys.stdout.isatty():
        click.echo(plain_lines(text.replace("\r\n", "\n")), nl=False)
        return
    if output is None:
        click.echo(text.encode(), nl=False)  # as bytes, so that no system changes the line breaks
        return
    from reelwright.cli.output_file import write_whole

    write_whole(output, text)
    click.echo(plain_text(f"{output}: {len(records)} {'wind' if len(records) == 1 else 'winds'}."))


def _wanted(ledger: Ledger | None, job_id: int | None) -> WindRecord | None:
    if job_id is None:
        newest = ledger.winds(1) if ledger else []
        return newest[0] if newest else None
    record = ledger.find(job_id) if ledger else None
    if record is None:
        raise UsageError(f"The ledger holds no job {job_id}.", HOW_TO_SEE)
    return record


def _as_they_stand(ledger: Ledger | None, limit: int | None = None) -> list[WindRecord]:
    return [_as_it_stands(record, ledger) for record in ledger.winds(limit)] if ledger else []


def _as_it_stands(record: WindRecord, ledger: Ledger) -> WindRecord:
    """The record with what is known of it now. Of a wind that is over that is its result, and nothing is planned."""
    if not record.open:
        return record
    from reelwright.operation.recorded import as_it_stands

    return as_it_stands(record, ledger)


@contextmanager
def _ledger() -> Iterator[Ledger | None]:
    """The ledger, or None where there is none yet: looking at it makes no file."""
    path = ledger_path()
    if not path.exists() and (path.parent.is_dir() or not path.parent.exists()):
        yield None
        return
    with open_ledger(path) as ledger:
        yield ledger
