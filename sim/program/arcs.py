"""Arcs: from the two ways to write one to its centre, turn and length (NISTIR 6556, 3.5.3)."""

from __future__ import annotations

import math

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.machine import Arc, Vector

# End points this near count as the same; unit conversion leaves errors far below it.
SAME_POINT_MM = 1e-7


def arc_by_centre(
    start: Vector,
    end: Vector,
    axes: tuple[int, int, int],
    offset: tuple[float, float],
    counterclockwise: bool,
    tolerance_mm: float,
) -> Arc:
    """Return the arc about ``start + offset`` (in the plane); a full circle when end is start.

    Raises E-ARC when the radii at start and end differ by more than ``tolerance_mm``.
    """
    first, second, _ = axes
    centre = list(start)
    centre[first] += offset[0]
    centre[second] += offset[1]
    start_radius = math.hypot(offset[0], offset[1])
    end_first, end_second = end[first] - centre[first], end[second] - centre[second]
    end_radius = math.hypot(end_first, end_second)
    if start_radius < SAME_POINT_MM:
        raise ProgramError("E-ARC", "the centre lies on the start point")
    # A hair of slack, so that a difference of exactly the tolerance is not refused by rounding.
    if abs(start_radius - end_radius) > tolerance_mm + SAME_POINT_MM:
        raise ProgramError(
            "E-ARC",
            f"the radius is {start_radius:.4f} mm at the start and {end_radius:.4f} mm at the end; "
            f"they may differ by {tolerance_mm:g} mm",
        )
    turn = math.atan2(end_second, end_first) - math.atan2(-offset[1], -offset[0])
    distance = math.hypot(end[first] - start[first], end[second] - start[second])
    turn = 2 * math.pi if distance < SAME_POINT_MM else turn % (2 * math.pi)
    if not counterclockwise and distance >= SAME_POINT_MM:
        turn -= 2 * math.pi
    elif not counterclockwise:
        turn = -turn
    return _arc(start, end, (centre[0], centre[1], centre[2]), axes, turn, start_radius)


def arc_by_radius(
    start: Vector,
    end: Vector,
    axes: tuple[int, int, int],
    radius: float,
    counterclockwise: bool,
    tolerance_mm: float,
) -> Arc:
    """Return the arc of ``radius``: at most half a turn if positive, more if negative.

    Raises E-ARC when end is start, or the radius can't reach.
    """
    first, second, _ = axes
    along_first, along_second = end[first] - start[first], end[second] - start[second]
    chord = math.hypot(along_first, along_second)
    if chord < SAME_POINT_MM:
        raise ProgramError("E-ARC", "with R the end must differ from the start in the plane")
    size = abs(radius)
    if chord / 2 > size + tolerance_mm:
        raise ProgramError(
            "E-ARC", f"a radius of {size:g} mm can't span the {chord:g} mm between start and end"
        )
    height = math.sqrt(max(0.0, size * size - chord * chord / 4))
    side = height if counterclockwise == (radius > 0) else -height
    offset = (
        along_first / 2 - side * along_second / chord,
        along_second / 2 + side * along_first / chord,
    )
    return arc_by_centre(start, end, axes, offset, counterclockwise, tolerance_mm)


def _arc(
    start: Vector,
    end: Vector,
    centre: Vector,
    axes: tuple[int, int, int],
    turn: float,
    radius: float,
) -> Arc:
    third = axes[2]
    rise = end[third] - start[third]
    return Arc(end, centre, axes, turn, radius, math.hypot(turn * radius, rise))


def arc_extent(start: Vector, arc: Arc) -> tuple[Vector, Vector]:
    """Return the lowest and highest corner of the box around the arc."""
    first, second, _ = arc.axes
    low, high = list(map(min, start, arc.end_mm)), list(map(max, start, arc.end_mm))
    begin = math.atan2(start[second] - arc.centre_mm[second], start[first] - arc.centre_mm[first])
    lower, upper = sorted((begin, begin + arc.turn_rad))
    for quarter in range(math.ceil(lower / (math.pi / 2)), math.floor(upper / (math.pi / 2)) + 1):
        axis, sign = (first, second)[quarter % 2], 1 if quarter % 4 < 2 else -1
        reach = arc.centre_mm[axis] + sign * arc.radius_mm
        low[axis], high[axis] = min(low[axis], reach), max(high[axis], reach)
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])
