"""Runs when the board has started: finds the board file, and runs the control loop on it."""

import sys

from windcore.loop import run

# Name that the interpreter gives its port -> module in boards/. Desktop ports have no pins: they simulate.
BOARD_FILES = {"linux": "simulated", "darwin": "simulated", "win32": "simulated"}


def main() -> None:
    """Run until the power goes, or somebody presses Ctrl-C on the port."""
    name = BOARD_FILES.get(sys.platform)
    if name is None:
        raise SystemExit("There is no board file for %s yet: DEVELOPERS.md says how to add one." % sys.platform)
    board = __import__("boards." + name, None, None, ("open_board",)).open_board(sys.argv[1:])
    try:
        run(board)
        # a simulated board can lose its power and get it back; on hardware that starts the interpreter anew
        while board.starts_again():
            run(board)
    except KeyboardInterrupt:
        # `run` has turned the drive off on its way out
        sys.stderr.write("Interrupted: the drive is off.\n")
    finally:
        board.close()


if __name__ == "__main__":
    main()
