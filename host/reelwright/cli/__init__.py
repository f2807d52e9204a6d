"""The command line: parses, calls the rooms, and turns each failure into its one exit code.

Each command lives in a module of its own, imported only when it is called, so that a plan does not
pay for the port, the database or the terminal.
"""

from __future__ import annotations

import importlib
import sys
from typing import NoReturn, cast

import click

from reelwright import __version__
from reelwright.cautions import CAUTION
from reelwright.errors import EXIT_CODES, EXIT_DONE, EXIT_INTERRUPTED, ReelwrightError

# name of the command -> (module, one line of help)
COMMANDS = {
    "plan": ("reelwright.cli.plan", "Compute turns, layers, length, mass and fit of a job."),
    "split": ("reelwright.cli.split", "Split part-used pay-off spools into wanted lengths."),
    "wind": ("reelwright.cli.wind", "Load a job into the winder, start it, follow it and record it."),
    "watch": ("reelwright.cli.watch", "Look at a winder without touching it."),
    "checkup": ("reelwright.cli.checkup", "Look at a winder, its link, its sensor and its motor."),
    "simulate": ("reelwright.cli.simulate", "Offer a simulated winder behind a serial port."),
    "gears": ("reelwright.cli.gears", "Check a gear train, or find one for a lay pitch."),
    "ledger": ("reelwright.cli.ledger", "What has been wound: list, show, export."),
    "calibrate": ("reelwright.cli.calibrate", "Find out a strand's diameter, rise and density from measurements."),
    "install": ("reelwright.cli.install", "Bring the firmware onto a board, and prove it there."),
    "machine": ("reelwright.cli.machine", "Check the file of a winder's pins, and send it to its board."),
    "demo": ("reelwright.cli.demo", "Plan, wind on a simulated winder, and record: the whole job."),
}
# those that have a winder of their own going on behind them
AT_A_WINDER = frozenset({"wind", "watch", "checkup", "install", "machine"})


class InterruptedByPersonError(ReelwrightError):
    """Ctrl-C, or its like at a question."""

    exit_code = EXIT_INTERRUPTED

    def __init__(self, at_a_winder: bool) -> None:
        super().__init__("Interrupted.", "A winder that was under way keeps to its job by itself." * at_a_winder)


class LazyGroup(click.Group):
    """A group that imports a command's module when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(COMMANDS[cmd_name][0])
        return cast("click.Command", module.command)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - click's signature
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(code), text) for code, text in EXIT_CODES.items()])
        formatter.write_paragraph()
        formatter.write_text(CAUTION)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="reelwright")
def main() -> None:
    """Wind a known length of round strand from one spool to another."""


def run() -> NoReturn:
    """Entry point of the command."""
    run_command(main, "reelwright")


def run_command(command: click.Command, name: str) -> NoReturn:
    """Run a command and end with its exit code. Failures of a person or a winder print no traceback."""
    from reelwright.cli.failure import (
        end_for,
        end_for_computer,
        end_for_mistake,
        let_go_of_output,
        open_what_is_closed,
    )

    open_what_is_closed()
    context = None
    try:
        # what click's own entry point does with a closed pipe differs from what the rest of a command does
        with command.make_context(name, sys.argv[1:]) as context:
            command.invoke(context)
        sys.exit(EXIT_DONE)
    except click.exceptions.Exit as ended:
        sys.exit(ended.exit_code)
    except click.ClickException as mistake:
        end_for_mistake(mistake)
    except ReelwrightError as failure:
        end_for(failure)
    except (click.Abort, KeyboardInterrupt):
        end_for(InterruptedByPersonError(context is not None and context.invoked_subcommand in AT_A_WINDER))
    except BrokenPipeError:
        let_go_of_output()  # whoever read it has seen enough
        sys.exit(EXIT_DONE)
    except OSError as failure:
        end_for_computer(failure)
