"""How fast, how hard and how suddenly a line may be run, from what its axes can do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from drytouch.sim.errors import InputError

Vector = tuple[float, float, float]

# Legs shorter than this are rounding, not motion: 1 pm is far below any encoder step.
SHORTEST_LEG_MM = 1e-9
# A direction is taken as a unit vector within this; the limits are then wrong by as little.
UNIT_TOLERANCE = 1e-6


class Limits(NamedTuple):
    """Path limits: ``speed`` (mm/s), ``acceleration`` (mm/s^2) and ``jerk`` (mm/s^3)."""

    speed: float
    acceleration: float
    jerk: float


def along(
    direction: Vector,
    speeds: Sequence[float],
    accelerations: Sequence[float],
    jerks: Sequence[float],
    feed_mm_per_s: float | None,
) -> Limits:
    """Limits along the unit vector ``direction``: the axis that gives out first decides.

    ``speeds``, ``accelerations`` and ``jerks`` are the axes' own, in mm/s, mm/s^2, mm/s^3;
    ``feed_mm_per_s`` is None for a rapid. Raises InputError for a direction that is no unit vector.
    """
    x, y, z = direction
    length = math.sqrt(x * x + y * y + z * z)
    # Written so that a direction that is no number fails as well.
    if not abs(length - 1.0) <= UNIT_TOLERANCE:
        raise InputError(f"direction {direction} has length {length:g}, expected a unit vector")
    # A plain loop: every line asks this, and three generators cost three times as much.
    speed = acceleration = jerk = math.inf
    for i, u in enumerate(direction):
        if u != 0.0:
            share = abs(u)
            speed = min(speed, speeds[i] / share)
            acceleration = min(acceleration, accelerations[i] / share)
            jerk = min(jerk, jerks[i] / share)
    if feed_mm_per_s is not None and feed_mm_per_s < speed:
        speed = feed_mm_per_s
    return Limits(speed, acceleration, jerk)


def arc_limits(limits: Limits, radius_mm: float) -> Limits:
    """Limits along an arc: v^2/R, the pull to the centre, may use the acceleration limit, no more.

    The pull and the change of speed each keep to the limit by themselves; where both act at once
    their vector sum may be up to sqrt(2) of it. Raises InputError when the radius isn't positive.
    """
    if not radius_mm > 0.0:
        raise InputError(f"radius {radius_mm:g} mm, expected more than 0")
    return limits._replace(speed=min(limits.speed, math.sqrt(limits.acceleration * radius_mm)))


def harder(first: Limits, second: Limits) -> Limits:
    """The stronger brake of two: for a second stop asked for while a first one runs."""
    return Limits(
        min(first.speed, second.speed),
        max(first.acceleration, second.acceleration),
        max(first.jerk, second.jerk),
    )


def dog_leg(delta: Vector, speeds: Sequence[float]) -> list[Vector]:
    """Split a rapid in which each axis runs at its own speed into straight legs.

    ``delta`` in mm, ``speeds`` in mm/s. All axes run on the first leg; the one with the shortest
    time drops out first. The legs add up to ``delta``; no motion gives no legs.
    """
    times = [abs(d) / v for d, v in zip(delta, speeds, strict=True)]
    legs: list[Vector] = []
    here = (0.0, 0.0, 0.0)
    for end in sorted(times):
        x, y, z = (d if t <= end else d * (end / t) for d, t in zip(delta, times, strict=True))
        leg = (x - here[0], y - here[1], z - here[2])
        # A sliver between two axes that arrive together is left to the next leg, if there is one.
        if max(map(abs, leg)) > SHORTEST_LEG_MM:
            legs.append(leg)
            here = (x, y, z)
    return legs
