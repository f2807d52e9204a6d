"""The file that says what truly happened, as JSON lines."""

import json
import sys

from plant.truth import Overshoot
from plant.winder import Plant

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import IO

SAMPLE_MS = 500
_RPM = 60.0 / 6.283185307179586


class TruthFile:
    """Every object carries the totals so far, so the last one of the file carries the final ones.

    kind: start, sample (each half virtual second), rest (motion has ended), lease_ended (the board itself turned the
    motor off), what restarted it (watchdog, soft_reset, power_dip, power_cut), event (each that the winder told, with
    its `line` and the `boot` that numbered it), end (with `cable`, what became of the bytes in each direction of a bad
    one).
    path: "" for no file. The file is written anew.
    """

    def __init__(self, path: str, plant: Plant, overshoot: Overshoot) -> None:
        self._plant = plant
        self._overshoot = overshoot
        self._file: "IO[str] | None" = open(path, "w") if path else None
        self._next_ms = 0
        self._told = (-1, 0)  # boot and number of the newest event

    def sample(self, elapsed_ms: int, duty: int, motor: str) -> None:
        """Write a sample when one is due."""
        if elapsed_ms >= self._next_ms:
            self.write("sample", elapsed_ms, duty, motor)
            self._next_ms = elapsed_ms + SAMPLE_MS

    def write(self, kind: str, elapsed_ms: int, duty: int, motor: str, **more: object) -> None:
        """Write an object now, with what more there is to tell. motor: off, drive or brake."""
        if self._file is None:
            return
        plant = self._plant
        told = {
            "kind": kind,
            "virtual_s": elapsed_ms / 1000,
            "true_turns": round(plant.turns, 6),
            "true_pulses": plant.passed,
            "counted_pulses": plant.pulses,
            "true_length_m": round(plant.length_mm / 1000, 6),
            "peak_overshoot_pulses": self._overshoot.peak_pulses,
            "rpm": round(plant.speed * _RPM, 3),
            "tension_n": round(plant.tension_n, 3),
            "duty": duty,
            "motor": motor,
        }
        told.update(more)
        try:
            self._file.write(json.dumps(told) + "\n")
            self._file.flush()
        except OSError as failure:
            # the run matters more than its record
            sys.stderr.write("The truth file ends early: %s.\n" % failure)
            try:
                self._file.close()
            except OSError:
                pass
            self._file = None

    def sent(self, line: bytes, boot: int, elapsed_ms: int, duty: int, motor: str) -> None:
        """Keep the line of an event, the first time that it is sent."""
        if self._file is None or line[:1] != b"+":
            return
        told = (boot, int(line[1:].split(b" ")[0]))
        if told != self._told:
            self._told = told
            self.write("event", elapsed_ms, duty, motor, boot=boot, line=line.decode().strip())

    def close(self) -> None:
        """Close the file. Nothing is written after."""
        if self._file is not None:
            self._file.close()
            self._file = None
