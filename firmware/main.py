"""Runs when the board has started: finds the board file, and runs the control loop on it."""

import gc
import sys

from boards.description import BoardError
from windcore.restart import ask_for_upload, is_for_upload

# Name that the interpreter gives its port -> module in boards/. Desktop ports have no pins: they simulate.
BOARD_FILES = {"linux": "simulated", "darwin": "simulated", "win32": "simulated", "rp2": "pico", "esp32": "esp32"}

# Allocated bytes after which garbage is collected while the firmware loads. A heap that is collected only once it is
# full is full of holes by then: on an RP2040 it had no piece of 5 kB left for the winder's events.
LOADING_BYTES = 8192

FREE_LINE = "Reelwright: no control loop, the drive is off, the port is free for uploads. Restart the board to wind."


def collect_after(allocated_bytes: int) -> None:
    """Have garbage collected whenever so much was allocated; -1: when the heap is full, and where the loop does it."""
    # a desktop's interpreter counts otherwise, and has room
    threshold = getattr(gc, "threshold", None)
    if threshold is not None:
        threshold(allocated_bytes)


def main() -> None:
    """Run until the power goes, or somebody presses Ctrl-C on the port; or leave the port free, where asked to."""
    collect_after(LOADING_BYTES)
    name = BOARD_FILES.get(sys.platform)
    if name is None:
        raise SystemExit("There is no board file for %s yet: DEVELOPERS.md says how to add one." % sys.platform)
    try:
        board = __import__("boards." + name, None, None, ("open_board",)).open_board(sys.argv[1:])
    except BoardError as failure:
        # the program ends here, and the prompt has the port; a SystemExit would start it again and again
        sys.stderr.write("%s\n" % failure)
        return
    try:
        going = True
        while going:
            if is_for_upload(board.backup):
                board.leave_port(FREE_LINE)
            else:
                loop = __import__("windcore.loop", None, None, ("run",))
                collect_after(-1)
                if loop.run(board):
                    ask_for_upload(board.backup)
                    board.restart()
            # a simulated board lives on through its restarts; on hardware the interpreter starts anew
            going = board.starts_again()
    except KeyboardInterrupt:
        # `run` has turned the drive off on its way out
        sys.stderr.write("Interrupted: the drive is off.\n")
    finally:
        board.close()


if __name__ == "__main__":
    main()
