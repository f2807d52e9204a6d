"""Draws the wiring of machine files: `python hardware/wiring [MACHINE.toml ...]`.

Without a file it draws those in hardware/machines into hardware/wiring/, whose drawings a test holds to their files.
Needs `pip install -e '.[parts]'`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import click

HERE = Path(__file__).resolve().parent
sys.path[:1] = [str(HERE.parent)]


@click.command("wiring")
@click.argument("machine_files", metavar="[MACHINE.toml]...", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    default=HERE,
    help="For NAME.svg of each; made where it is not there.",
)
@click.option("--nets", is_flag=True, help="Print the net lists, and draw nothing.")
def command(machine_files: tuple[Path, ...], output: Path, nets: bool) -> None:
    """Draw the wiring of each machine file, or list its nets."""
    from reelwright.cli.output_file import write_whole
    from reelwright.errors import UsageError
    from reelwright.profiles.toml_files import read_toml
    from wiring.reading import circuit_of

    if not nets:
        try:
            output.mkdir(parents=True, exist_ok=True)
        except OSError as failure:
            raise UsageError(f"{output} cannot be made: {failure.strerror}.", "Name another folder.") from None
    for path in machine_files or sorted((HERE.parent / "machines").glob("*.toml")):
        circuit = circuit_of(read_toml(path), str(path))
        if nets:
            click.echo(circuit.title)
            for net, terminals in sorted(circuit.nets().items()):
                click.echo(f"  {net:<28}{'  '.join(sorted(terminals))}")
            continue
        try:
            from wiring.drawing import drawn
        except ModuleNotFoundError as missing:
            raise UsageError(
                f"The drawing needs {missing.name}.", "Run `pip install '.[parts]'` in the project's folder."
            ) from None
        target = output / f"{path.stem}.svg"
        write_whole(target, drawn(circuit))
        click.echo(target)


if __name__ == "__main__":
    from reelwright.cli import run_command

    run_command(command, "hardware/wiring")
