"""A winder without hardware: the firmware on a simulated machine, behind a port."""

from reelwright.simulator.spec import FAULTS, PACE_MAX, SimulatorOptions

__all__ = ["FAULTS", "PACE_MAX", "SimulatorOptions"]
