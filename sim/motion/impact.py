"""What a moving axis brings to a collision: its mass with the screw's, energy and peak force."""

from __future__ import annotations

import math

MM_PER_M = 1000.0


def effective_mass_kg(mass_kg: float, inertia_kg_m2: float, lead_mm: float) -> float:
    """Mass of the slide plus what screw and motor weigh along the path: m + J*(2*pi/lead)^2.

    From equal kinetic energy: the screw turns 2*pi per lead, so omega = v*2*pi/lead.
    """
    turn_per_m = 2.0 * math.pi * MM_PER_M / lead_mm
    return mass_kg + inertia_kg_m2 * turn_per_m * turn_per_m


def impact_energy_j(effective_mass: float, speed_mm_per_s: float) -> float:
    """Kinetic energy in J of ``effective_mass`` (kg) at a speed."""
    v = speed_mm_per_s / MM_PER_M
    return 0.5 * effective_mass * v * v


def peak_force_n(
    effective_mass: float, speed_mm_per_s: float, stiffness_n_per_mm: float, thrust_n: float
) -> float:
    """Peak force in N on a body met at a speed: v*sqrt(k*m) + thrust.

    All kinetic energy goes into a linear spring (contact ``stiffness_n_per_mm``), then the drive
    leans on it with ``thrust_n``. An upper estimate: nothing is lost to yielding or friction.
    """
    v = speed_mm_per_s / MM_PER_M
    return v * math.sqrt(stiffness_n_per_mm * MM_PER_M * effective_mass) + thrust_n
