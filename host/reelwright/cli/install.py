"""`reelwright install`: the firmware onto a board, safe to be broken off anywhere and run again."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from reelwright.cli.prose import say
from reelwright.errors import NoPortError, PortError, UsageError
from reelwright.json_text import json_text
from reelwright.machines import load_machine_file
from reelwright.machines.boards import boards

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.install.manifest import BoardFile
    from reelwright.machines.boards import BoardFacts

at_rest_option = click.option(
    "--at-rest",
    is_flag=True,
    help="You have seen to it that nothing turns: go on where the board's program cannot be asked.",
)
port_option = click.option(
    "--port", "port_name", metavar="PORT", help="Serial port of the board. Default: the only one that fits."
)


@contextmanager
def a_real_board() -> Iterator[None]:
    """Where a port is not there, the advice is for a board alone: on a simulated winder nothing is installed."""
    try:
        yield
    except NoPortError as failure:
        raise PortError(failure.message, failure.board_remedy) from None


@click.command("install")
@port_option
@click.option("--machine", "machine_path", metavar="MACHINE.toml", help="The winder's pins go along, checked first.")
@click.option("--compiled", is_flag=True, help="Bytecode, which leaves the board more memory.")
@click.option("--overwrite", is_flag=True, help="A main.py that is not this program's gives way.")
@at_rest_option
@click.option("--dry-run", is_flag=True, help="List files, sizes and hashes, and touch no board.")
@click.option("--sizes", is_flag=True, help="With --dry-run: the size of each file as bytecode too.")
@click.option("--board", "kind", type=click.Choice(list(boards())), help="With --dry-run: for which board.")
@click.option("--json", "as_json", is_flag=True, help="With --dry-run: one JSON object.")
def command(
    port_name: str | None,
    machine_path: str | None,
    compiled: bool,
    overwrite: bool,
    at_rest: bool,
    dry_run: bool,
    sizes: bool,
    kind: str | None,
    as_json: bool,
) -> None:
    """Bring the firmware onto a board and prove it there.

    It asks a winder for standstill first, and again leaves what the board has of a machine, a count and a calibration.
    Broken off at any step, give it again.
    """
    machine = load_machine_file(machine_path) if machine_path else None
    facts = machine.board.facts if machine else boards().get(kind or "")
    from reelwright.install.installation import files_for, install

    if dry_run:
        if machine and kind not in (None, machine.board.facts.kind):
            raise UsageError(
                f"{machine_path} is for the board {machine.board.facts.kind}, and --board says {kind}.",
                "Leave out --board, or change board.kind in the file.",
            )
        if facts is None:
            raise UsageError("A dry run needs to know the board.", "Give --board, or the machine with --machine.")
        _list(facts, files_for(facts, machine, compiled=compiled), sizes=sizes, as_json=as_json)
        return
    for given, option in ((sizes, "--sizes"), (kind is not None, "--board"), (as_json, "--json")):
        if given:
            raise UsageError(f"{option} goes with --dry-run.", "Add that, or leave it out.")
    from reelwright.device.discovery import find_port

    with a_real_board():
        winder = install(
            port_name or find_port(), machine, compiled=compiled, at_rest=at_rest, overwrite=overwrite, tell=click.echo
        )
    if winder is None:
        click.echo("Installed. Next tell it its pins: `reelwright machine push MACHINE.toml`.")
    else:
        click.echo("Installed. Next: `reelwright checkup`.")


def _list(facts: BoardFacts, files: tuple[BoardFile, ...], *, sizes: bool, as_json: bool) -> None:
    rows: list[dict[str, Any]] = [{"path": each.path, "bytes": each.size, "sha256": each.sha256} for each in files]
    compiled = _as_bytecode(files) if sizes else ()
    for row, each in zip(rows, compiled, strict=False):
        row["compiled_bytes"] = each.size
    if as_json:
        click.echo(json_text({"board": facts.kind, "files": rows}))
        return
    from reelwright.views.board_files import board_files_text

    click.echo(f"For the {facts.title}:")
    click.echo(board_files_text(rows, sizes=sizes))
    total = sum(row["bytes"] for row in rows)
    as_bytecode = f", as bytecode {sum(each.size for each in compiled)} bytes" if compiled else ""
    click.echo(f"{len(rows)} files, {total} bytes{as_bytecode}")


def _as_bytecode(files: tuple[BoardFile, ...]) -> tuple[BoardFile, ...]:
    """The same as bytecode; none, with a note, where there is no compiler, as the sizes of the sources are known."""
    from reelwright.install.manifest import compiled_files

    try:
        return compiled_files(files)
    except UsageError as no_compiler:
        say(f"Note: no sizes of bytecode. {no_compiler}", err=True)
        return ()
