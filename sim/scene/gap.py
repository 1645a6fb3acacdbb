"""The gap between two convex solids that stand apart, from their support functions alone.

The gap is the length of the shortest vector of {a - b}. Wolfe's method keeps the shortest vector
of a few points of that set and adds the point that lies furthest back along it. Each vector's
direction is a plane that parts the solids, so the figure returned is never too long.
P. Wolfe, "Finding the nearest point in a polytope", Mathematical Programming 11 (1976).
"""

from __future__ import annotations

import math

import numpy as np

from drytouch.sim.scene.cast import Support
from drytouch.sim.scene.shapes import Vector

# Stop when the proved gap is this near to the found one: a tenth of a touch.
AGREED_MM = 1e-7
MAXIMUM_PASSES = 200


def gap_between(
    support_a: Support, support_b: Support, start: Vector
) -> tuple[float, Vector] | None:
    """Gap, mm, and unit normal from B to A (shifted by ``start``); None when they touch."""

    def back(x: Vector) -> Vector:
        ax, ay, az = support_a(-x[0], -x[1], -x[2])
        bx, by, bz = support_b(*x)
        return (ax + start[0] - bx, ay + start[1] - by, az + start[2] - bz)

    shortest = back((0.0, 0.0, 1.0))
    points, shares = [shortest], [1.0]
    best: tuple[float, Vector] | None = None
    for _ in range(MAXIMUM_PASSES):
        size = math.sqrt(_dot(shortest, shortest))
        if size < AGREED_MM:
            return best
        new = back(shortest)
        proved = _dot(new, shortest) / size
        if proved > 0.0 and (best is None or proved > best[0]):
            best = (proved, (shortest[0] / size, shortest[1] / size, shortest[2] / size))
        if size - proved <= AGREED_MM or new in points:
            return best
        points.append(new)
        shares.append(0.0)
        points, shares, shortest = _shortened(points, shares)
    return best


def _shortened(
    points: list[Vector], shares: list[float]
) -> tuple[list[Vector], list[float], Vector]:
    """The shortest vector of the points' hull, and the points that carry it."""
    while True:
        wanted = _flat_shares(points)
        if all(share > 1e-12 for share in wanted):
            break
        # Go towards the plane's shortest vector until a point has no share left; drop that point.
        reach = min(
            (s / (s - t) for s, t in zip(shares, wanted, strict=True) if t <= 1e-12 and s > t),
            default=0.0,
        )
        shares = [s + reach * (t - s) for s, t in zip(shares, wanted, strict=True)]
        least = min((k for k, t in enumerate(wanted) if t <= 1e-12), key=lambda k: shares[k])
        points = points[:least] + points[least + 1 :]
        shares = shares[:least] + shares[least + 1 :]
        if len(points) == 1:
            wanted = [1.0]
            break
    x, y, z = (sum(s * p[i] for s, p in zip(wanted, points, strict=True)) for i in range(3))
    return points, wanted, (x, y, z)


def _flat_shares(points: list[Vector]) -> list[float]:
    """Shares, summing to 1, that blend the points into the shortest vector of their plane."""
    if len(points) == 1:
        return [1.0]
    first = np.array(points[0])
    sides = np.array(points[1:]) - first
    rest = np.linalg.lstsq(sides.T, -first, rcond=None)[0]
    return [1.0 - float(rest.sum()), *(float(share) for share in rest)]


def _dot(p: Vector, q: Vector) -> float:
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]
