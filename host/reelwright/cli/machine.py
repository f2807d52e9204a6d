"""`reelwright machine`: check a machine file, and send it to the winder's board."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from reelwright.cli.install import a_real_board, at_rest_option, port_option
from reelwright.cli.prose import say
from reelwright.json_text import json_text
from reelwright.machines import load_machine_file

if TYPE_CHECKING:
    from reelwright.machines import MachineFile


@click.group("machine")
def command() -> None:
    """The winder's own file: its profile for jobs, and which pin of its board does what."""


@command.command("check", short_help="Look for whatever the pins, the board and the speeds forbid.")
@click.argument("path", metavar="MACHINE.toml")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def check(path: str, as_json: bool) -> None:
    """Look for whatever the pins, the board and the speeds forbid, all at once. Touches no board."""
    found = load_machine_file(path)
    if as_json:
        click.echo(json_text(_record(found)))
        return
    click.echo(f"{path}: machine {found.name} on {found.board.facts.a_title()}: nothing wrong.")
    for role, pin in found.board.pins.items():
        click.echo(f"  {role:<16} pin {pin}")
    for note in found.notes:
        say(f"Note: {note}")


@command.command("push", short_help="Send the file to the winder's board at standstill.")
@click.argument("path", metavar="MACHINE.toml")
@port_option
@at_rest_option
def push(path: str, port_name: str | None, at_rest: bool) -> None:
    """Check the file, send it to the winder's board at standstill, and ask the winder what it can do now.

    Broken off at any step, give it again.
    """
    machine = load_machine_file(path)
    from reelwright.device.discovery import find_port
    from reelwright.install.installation import push as send

    with a_real_board():
        send(port_name or find_port(), machine, at_rest=at_rest, tell=click.echo)
    for note in machine.notes:
        say(f"Note: {note}")
    click.echo("The winder has its machine. Next: `reelwright checkup`.")


def _record(found: MachineFile) -> dict[str, Any]:
    board = found.board
    return {
        "machine": found.name,
        "board": board.facts.kind,
        "pins": board.pins,
        "active_low": list(board.active_low),
        **board.numbers,
        "notes": list(found.notes),
    }
