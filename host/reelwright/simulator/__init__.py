"""A winder without hardware: the firmware on a simulated machine, behind a port."""

from reelwright.firmware_folders import firmware_folder
from reelwright.simulator.launcher import Simulator, last_truth
from reelwright.simulator.spec import FAULTS, PACE_MAX, SimulatorOptions

__all__ = ["FAULTS", "PACE_MAX", "Simulator", "SimulatorOptions", "firmware_folder", "last_truth"]
