"""The file that says what truly happened, as JSON lines."""

import json

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
    motor off), what restarted it (watchdog, soft_reset, power_dip, power_cut), end.
    path: "" for no file. The file is written anew.
    """

    def __init__(self, path: str, plant: Plant, overshoot: Overshoot) -> None:
        self._plant = plant
        self._overshoot = overshoot
        self._file: "IO[str] | None" = open(path, "w") if path else None
        self._next_ms = 0

    def sample(self, elapsed_ms: int, duty: int, motor: str) -> None:
        """Write a sample when one is due."""
        if elapsed_ms >= self._next_ms:
            self.write("sample", elapsed_ms, duty, motor)
            self._next_ms = elapsed_ms + SAMPLE_MS

    def write(self, kind: str, elapsed_ms: int, duty: int, motor: str) -> None:
        """Write an object now. motor: off, drive or brake."""
        if self._file is None:
            return
        plant = self._plant
        self._file.write(
            json.dumps(
                {
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
            )
            + "\n"
        )
        self._file.flush()

    def close(self) -> None:
        """Close the file. Nothing is written after."""
        if self._file is not None:
            self._file.close()
            self._file = None
