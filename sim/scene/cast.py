r"""First contact of two convex solids, one of which slides along a straight line.

Solid A meets solid B after the distance t where t*w enters the set C = {b - a}. Seen along the
unit vector w, the near side of C is a convex function f over the plane across w, and t = f(0)::

        \   p1         p2  /     three points of C, whose shadows hold the line,
         \___x________x___/      bound f(0) from above (the triangle lies inside C);
              \  |  /            the tangent plane at the lowest point in the triangle's
               \_x_/             own slope bounds it from below; that point then replaces
               new point         a corner, until both bounds agree.

Both bounds hold in exact arithmetic, so thin plates and long moves can't slip through, and no
distance is ever needed. A shape is known by its support function: the furthest point along a
direction. Portal refinement: G. Snethen, "XenoCollide", Game Programming Gems 7 (2008).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from drytouch.sim.scene.shapes import Vector

Support = Callable[[float, float, float], Vector]

# Bounds this close are one number: a hundredth of the 0.01 um that flat faces promise.
AGREED_MM = 1e-9
# Each pass cuts the bounds' gap by about four on curved sides: 1000 mm to 1e-9 mm needs about 20.
MAXIMUM_PASSES = 90


class Entry(NamedTuple):
    """Where a line enters: distance mm, outward unit normal of B, a point on B, bounds' gap mm."""

    distance: float
    normal: Vector
    point: Vector
    gap: float


class Miss(NamedTuple):
    """No contact on the whole line: ``axis``, a unit vector across it, parts the solids."""

    axis: Vector
    separation: float


# One point of C: across the line (two coordinates), along it, and the point of B it came from.
_Point = tuple[float, float, float, Vector]
_Corners = tuple[_Point, _Point, _Point]


class _Apart(NamedTuple):
    """A unit direction across the line along which all of C stays behind the line, and the gap."""

    c1: float
    c2: float
    separation: float


def across(w: Vector) -> tuple[Vector, Vector]:
    """Two unit vectors that make a right-handed frame with the unit vector ``w``."""
    wx, wy, wz = w
    if abs(wx) <= abs(wy) and abs(wx) <= abs(wz):
        ux, uy, uz = 0.0, wz, -wy
    elif abs(wy) <= abs(wz):
        ux, uy, uz = -wz, 0.0, wx
    else:
        ux, uy, uz = wy, -wx, 0.0
    size = math.sqrt(ux * ux + uy * uy + uz * uz)
    ux, uy, uz = ux / size, uy / size, uz / size
    return (ux, uy, uz), (wy * uz - wz * uy, wz * ux - wx * uz, wx * uy - wy * ux)


def cast(support_a: Support, support_b: Support, start: Vector, w: Vector) -> Entry | Miss:
    """First contact on the endless line; ``start``: A's shift, mm; ``w``: unit direction of A.

    The distance is negative when the line entered B behind the start.
    """
    (e1x, e1y, e1z), (e2x, e2y, e2z) = across(w)
    wx, wy, wz = w
    rx, ry, rz = start

    def furthest(c1: float, c2: float, c3: float) -> _Point:
        nx = c1 * e1x + c2 * e2x + c3 * wx
        ny = c1 * e1y + c2 * e2y + c3 * wy
        nz = c1 * e1z + c2 * e2z + c3 * wz
        on_b = support_b(nx, ny, nz)
        ax, ay, az = support_a(-nx, -ny, -nz)
        x, y, z = on_b[0] - ax - rx, on_b[1] - ay - ry, on_b[2] - az - rz
        return (
            x * e1x + y * e1y + z * e1z,
            x * e2x + y * e2y + z * e2z,
            x * wx + y * wy + z * wz,
            on_b,
        )

    corners = _triangle_over_line(furthest)
    if isinstance(corners, _Apart):
        c1, c2, separation = corners
        # The axis points from B to A, as contact normals do.
        return Miss((c1 * e1x + c2 * e2x, c1 * e1y + c2 * e2y, c1 * e1z + c2 * e2z), separation)
    slope1, slope2, lower, gap, corners = _refine(furthest, corners)
    size = math.sqrt(1.0 + slope1 * slope1 + slope2 * slope2)
    normal = (
        (slope1 * e1x + slope2 * e2x - wx) / size,
        (slope1 * e1y + slope2 * e2y - wy) / size,
        (slope1 * e1z + slope2 * e2z - wz) / size,
    )
    return Entry(lower, normal, _under_line(corners), gap)


def _triangle_over_line(furthest: Callable[[float, float, float], _Point]) -> _Corners | _Apart:
    """Three points of C whose shadows, counter-clockwise, hold the line; or an axis that parts."""
    first = furthest(1.0, 0.0, 0.0)
    if first[0] <= 0.0:
        return _Apart(1.0, 0.0, -first[0])
    second = furthest(-1.0, 0.0, 0.0)
    if second[0] >= 0.0:
        return _Apart(-1.0, 0.0, second[0])
    for _ in range(MAXIMUM_PASSES):
        # Look for the third corner on the line's side of the edge from first to second.
        d1, d2 = first[1] - second[1], second[0] - first[0]
        if d1 * first[0] + d2 * first[1] > 0.0:
            first, second = second, first
            d1, d2 = -d1, -d2
        size = math.hypot(d1, d2)
        if size == 0.0:
            break
        d1, d2 = d1 / size, d2 / size
        third = furthest(d1, d2, 0.0)
        reach = d1 * third[0] + d2 * third[1]
        if reach <= 0.0:
            return _Apart(d1, d2, -reach)
        # From first to second to third is counter-clockwise round the line now.
        if _turn(third, first) < 0.0:
            second = third
        elif _turn(second, third) < 0.0:
            first = third
        else:
            return first, second, third
    # The line passes C's rim within rounding: no depth that a number could hold.
    return _Apart(d1, d2, 0.0)


def _turn(p: _Point, q: _Point) -> float:
    """Positive when q's shadow is counter-clockwise of p's, seen from the line."""
    return p[0] * q[1] - p[1] * q[0]


def _refine(
    furthest: Callable[[float, float, float], _Point], corners: _Corners
) -> tuple[float, float, float, float, _Corners]:
    """Slopes of the best plane, the distance it proves, the gap left, and the last triangle."""
    best = (0.0, 0.0, -math.inf)
    upper = math.inf
    for _ in range(MAXIMUM_PASSES):
        a, b, c = corners
        bu, bv, bh = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        cu, cv, ch = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        area = bu * cv - bv * cu
        if area <= 0.0:
            break
        slope1, slope2 = (bh * cv - bv * ch) / area, (bu * ch - bh * cu) / area
        upper = min(upper, a[2] - slope1 * a[0] - slope2 * a[1])
        size = math.sqrt(1.0 + slope1 * slope1 + slope2 * slope2)
        lowest = furthest(slope1 / size, slope2 / size, -1.0 / size)
        lower = lowest[2] - slope1 * lowest[0] - slope2 * lowest[1]
        if lower > best[2]:
            best = (slope1, slope2, lower)
        if lowest[0] == 0.0 == lowest[1]:
            upper = min(upper, lowest[2])
            corners = (lowest, b, c)
        if upper - lower <= AGREED_MM:
            break
        following = _part_over_line(a, b, c, lowest)
        if following is None:
            break
        corners = following
    return (*best, max(0.0, upper - best[2]), corners)


def _part_over_line(a: _Point, b: _Point, c: _Point, new: _Point) -> _Corners | None:
    """Of the three triangles with the new corner, the one that holds the line."""
    ta, tb, tc = _turn(a, new), _turn(b, new), _turn(c, new)
    best, largest = None, 0.0
    # On a shared edge two hold it: the larger one, since a sliver has no slope to speak of.
    for p, q, tp, tq in ((a, b, ta, tb), (b, c, tb, tc), (c, a, tc, ta)):
        if tp <= 0.0 <= tq:
            area = _turn(p, q) + tq - tp
            if area > largest:
                best, largest = (p, q, new), area
    return best


def _under_line(corners: _Corners) -> Vector:
    """The point of B under the line, blended from the triangle's corners."""
    a, b, c = corners
    wa, wb, wc = _turn(b, c), _turn(c, a), _turn(a, b)
    total = wa + wb + wc
    if total <= 0.0:
        return a[3]
    wa, wb, wc = wa / total, wb / total, wc / total
    return (
        wa * a[3][0] + wb * b[3][0] + wc * c[3][0],
        wa * a[3][1] + wb * b[3][1] + wc * c[3][1],
        wa * a[3][2] + wb * b[3][2] + wc * c[3][2],
    )
