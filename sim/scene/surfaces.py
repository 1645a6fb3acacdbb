"""Shapes as triangles, for the distance library and for pictures."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Ring, Shape, Sphere

Surface = tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]


def surface(shape: Shape, sides: int = 48) -> Surface:
    """Vertices (n, 3), mm, and triangles (m, 3), counter-clockwise from outside, of a shape.

    ``sides``: of a whole circle; the corners lie on the true surface.
    """
    if isinstance(shape, Mesh):
        return np.array(shape.vertices), np.array(shape.triangles)
    if isinstance(shape, Box):
        return _box(shape)
    return _turned(_profile(shape, sides), sides)


def _profile(shape: Shape, sides: int) -> list[tuple[float, float]]:
    """Radius and z of a closed outline, counter-clockwise with radius to the right."""
    if isinstance(shape, Sphere):
        count = max(2, sides // 2)
        angles = [-math.pi / 2 + math.pi * k / count for k in range(count + 1)]
        r = shape.radius
        outline = [(r * math.cos(angle), r * math.sin(angle)) for angle in angles]
        return [(0.0, -r), *outline[1:-1], (0.0, r)]
    if isinstance(shape, Ring):
        half, outer, inner = shape.height / 2, shape.outer_radius, shape.inner_radius
        return [(inner, -half), (outer, -half), (outer, half), (inner, half), (inner, -half)]
    if isinstance(shape, Cylinder):
        half, bottom, top = shape.height / 2, shape.radius, shape.radius
    else:
        assert isinstance(shape, Cone)
        half, bottom, top = shape.height / 2, shape.radius_bottom, shape.radius_top
    corners = [(0.0, -half), (bottom, -half), (top, half), (0.0, half)]
    return [c for k, c in enumerate(corners) if k == 0 or c != corners[k - 1]]


def _turned(profile: list[tuple[float, float]], sides: int) -> Surface:
    points: list[tuple[float, float, float]] = []
    rows: list[list[int]] = []
    closed = profile[0] == profile[-1]
    for radius, z in profile[:-1] if closed else profile:
        row = []
        for k in range(sides if radius > 0.0 else 1):
            angle = 2.0 * math.pi * k / sides
            row.append(len(points))
            points.append((radius * math.cos(angle), radius * math.sin(angle), z))
        rows.append(row * (sides if len(row) == 1 else 1))
    if closed:
        rows.append(rows[0])
    triangles = []
    for low, high in pairwise(rows):
        for k in range(sides):
            after = (k + 1) % sides
            for triangle in ((low[k], low[after], high[after]), (low[k], high[after], high[k])):
                if len(set(triangle)) == 3:
                    triangles.append(triangle)
    return np.array(points), np.array(triangles)


def _box(shape: Box) -> Surface:
    half = np.array((shape.size_x, shape.size_y, shape.size_z)) / 2
    signs = np.array([(i, j, k) for k in (-1, 1) for j in (-1, 1) for i in (-1, 1)])
    quads = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return signs * half, np.array(triangles)
