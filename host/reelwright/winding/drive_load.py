"""What a wind asks of its drive: the speed of each layer, torque, the full spool's inertia, and the way to rest."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.winding.drive import (
    guided_tension_n,
    ring_inertia_kg_m2,
    spool_rpm,
    stopping_turns,
    torque_n_m,
)

if TYPE_CHECKING:
    from reelwright.winding.coil import Coil
    from reelwright.winding.fit import Fit
    from reelwright.winding.job import Job, Machine


@frozen
class DriveLoad:
    """The load of a whole wind. Torques are at the outer layer; stopping is from the cruise, by the ramp.

    cruise_rpm: of the spool in the last layer, where a wanted line speed lets it turn slowest.
    inertia_kg_m2: of the full spool; inertia_of: what is in it, since a mass may not be known. For a crank, which
    has no ramp, the stopping figures are None and gaining speed is not counted.
    """

    cruise_rpm: float
    tension_n: float  # of the strand at the spool
    spool_torque_n_m: float  # holds the tension
    inertia_kg_m2: float
    inertia_of: str
    starting_torque_n_m: float  # at the spool: holds the tension and gains speed
    motor_torque_n_m: float  # the same at the motor's shaft
    stopping_turns: float | None
    stopping_length_m: float | None
    stopping_s: float | None


def layer_rpm(machine: Machine, turn_length_mm: float) -> float:
    """Spool speed for a layer with turns of this length: what draws the wanted line speed, up to the machine's limit.

    Without a wanted line speed it is the machine's own.
    """
    if machine.line_speed_m_s is None:
        return machine.cruise_rpm
    return min(machine.max_spool_rpm, spool_rpm(machine.line_speed_m_s, turn_length_mm))


def spool_tension_n(machine: Machine) -> float:
    """Tension of the strand at the spool: the back tension, raised by the friction of fixed guides."""
    return guided_tension_n(machine.back_tension_n, machine.guide_friction, machine.guide_wrap_deg)


def measure_load(
    job: Job, coil: Coil, fit: Fit, turns: float, wound_mass_g: float | None, cruise_rpm: float
) -> DriveLoad:
    """The load of winding so many turns, with this mass of strand on the spool in the end, and this last cruise."""
    machine = job.machine
    level = coil.top_level(turns)
    turn_length = coil.turn_length_mm(level)
    powered = machine.drive != "hand"
    tension = spool_tension_n(machine)
    torque = torque_n_m(tension, coil.radius_mm(level))
    inertia, inertia_of = _full_spool(job, fit, wound_mass_g)
    gaining = inertia * machine.acceleration_rpm_s * 2 * pi / 60 if powered else 0.0
    way_turns = stopping_turns(cruise_rpm, machine.slowing_rpm_s)
    return DriveLoad(
        cruise_rpm=cruise_rpm,
        tension_n=tension,
        spool_torque_n_m=torque,
        inertia_kg_m2=inertia,
        inertia_of=inertia_of,
        starting_torque_n_m=torque + gaining,
        motor_torque_n_m=(torque + gaining) / float(machine.motor_ratio) / machine.drive_efficiency,
        stopping_turns=way_turns if powered else None,
        stopping_length_m=way_turns * turn_length / 1000 if powered else None,
        stopping_s=cruise_rpm / machine.slowing_rpm_s if powered else None,
    )


def _full_spool(job: Job, fit: Fit, wound_mass_g: float | None) -> tuple[float, str]:
    """Inertia, and of what.

    The empty spool counts as a ring from barrel to flange. A real one has some of its mass further in, so this is
    a little too much, which is the safe side.
    """
    spool = job.take_up
    parts = {
        "strand": (wound_mass_g, fit.outer_diameter_mm),
        "empty spool": (spool.empty_mass_g, spool.flange_diameter_mm),
    }
    known = {name: (mass, outer) for name, (mass, outer) in parts.items() if mass is not None}
    inertia = sum(ring_inertia_kg_m2(mass, spool.barrel_diameter_mm / 2, outer / 2) for mass, outer in known.values())
    return inertia, " and ".join(known)
