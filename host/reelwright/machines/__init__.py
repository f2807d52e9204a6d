"""Machine files: a winder's profile with the pins of its board, checked and compiled for the board."""

from reelwright.machines.compiled import compiled_text
from reelwright.machines.machine_file import MachineFile, load_machine_file

__all__ = ["MachineFile", "compiled_text", "load_machine_file"]
