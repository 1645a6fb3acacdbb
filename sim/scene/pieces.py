"""Shapes made ready for contact: support functions and bounds, in the world's frame at q = 0."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.cast import Support
from drytouch.sim.scene.shapes import (
    Box,
    Cone,
    Cylinder,
    Mesh,
    Placed,
    Ring,
    Sphere,
    Vector,
    rotation,
)

# Closer than this, two bodies touch; deeper than this, they overlap. A tenth of the finest step
# that an encoder resolves, and 10,000 times what rounding leaves at 1000 mm.
TOUCH_MM = 1e-6
# Of so many points the furthest is found faster by array than one by one (measured).
ARRAY_PAYS_FROM = 40


@dataclass(slots=True)
class Upright:
    """What the closed forms read of a solid whose axis or side walls stand upright.

    ``corners``: footprint, counter-clockwise, mm (one point for a round one); ``radius``: rounding
    around it; ``hole``: radius of a round hole through it, or 0; ``low``, ``high``: z, mm.
    """

    corners: tuple[tuple[float, float], ...]
    radius: float
    hole: float
    low: float
    high: float


@dataclass(slots=True, eq=False)
class Piece:
    """One part of a body, ready for contact.

    ``support``: furthest point along a direction; ``inset``: the same for the solid made smaller
    by ``TOUCH_MM`` on every side. Both are of the convex hull; ``hollow`` tells when that is not
    all, and ``triangles`` (n, 3, 3), mm, is the surface of a mesh that is not convex.
    """

    body: Body
    part: Placed
    low: Vector
    high: Vector
    support: Support
    inset: Support
    upright: Upright | None = None
    axes: tuple[Vector, ...] = ()
    triangles: npt.NDArray[np.float64] | None = None
    # The triangles as the distance library holds them, made when first asked for.
    surface: Any = None

    @property
    def rough(self) -> bool:
        """Whether ``inset`` is more than a touch smaller in places."""
        return isinstance(self.part.shape, Mesh)

    @property
    def hollow(self) -> bool:
        """Whether the solid is less than its convex hull."""
        return self.triangles is not None or isinstance(self.part.shape, Ring)

    @property
    def feature(self) -> str:
        """What a person calls the part."""
        return self.part.feature


def prepare(body: Body) -> list[Piece]:
    """Every part of a body, ready for contact."""
    return [_prepare_part(body, part) for part in body.parts]


def _prepare_part(body: Body, part: Placed) -> Piece:
    centre = place_of(body, part)
    rows = rotation(part.turn_deg)
    support = turned(local_support(part.shape, 0.0), rows, centre)
    inset = turned(local_support(part.shape, TOUCH_MM), rows, centre)
    low = (support(-1.0, 0.0, 0.0)[0], support(0.0, -1.0, 0.0)[1], support(0.0, 0.0, -1.0)[2])
    high = (support(1.0, 0.0, 0.0)[0], support(0.0, 1.0, 0.0)[1], support(0.0, 0.0, 1.0)[2])
    columns = tuple((rows[0][i], rows[1][i], rows[2][i]) for i in range(3))
    axes = columns if isinstance(part.shape, Box) else columns[2:]
    upright = _upright(part, centre, rows)
    piece = Piece(body, part, low, high, support, inset, upright, axes)
    if isinstance(part.shape, Mesh):
        points = np.array(part.shape.vertices) @ np.array(rows).T + np.array(centre)
        triangles = points[np.array(part.shape.triangles)]
        if not _is_convex(triangles, points):
            piece.triangles = triangles
    return piece


# Asking every vertex about every triangle: 4 million products, some 20 ms. Larger meshes are
# taken as not convex, which is always right and only slower.
CONVEX_QUESTIONS = 4_000_000


def _is_convex(triangles: npt.NDArray[np.float64], points: npt.NDArray[np.float64]) -> bool:
    if len(triangles) * len(points) > CONVEX_QUESTIONS:
        return False
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    sizes = np.linalg.norm(normals, axis=1)
    good = sizes > 0.0
    normals = normals[good] / sizes[good, None]
    ahead = normals @ points.T - np.einsum("ij,ij->i", normals, triangles[good, 0])[:, None]
    return bool(ahead.max() <= 1e-9)


def place_of(body: Body, part: Placed) -> Vector:
    """Where a part's origin is at q = 0, mm."""
    return (
        body.offset[0] + part.at[0],
        body.offset[1] + part.at[1],
        body.offset[2] + part.at[2],
    )


def _upright(part: Placed, centre: Vector, rows: tuple[Vector, ...]) -> Upright | None:
    shape = part.shape
    if rows[2] not in ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0)):
        return None
    x, y, z = centre
    if isinstance(shape, Box):
        a, b = shape.size_x / 2, shape.size_y / 2
        signs = ((-a, -b), (a, -b), (a, b), (-a, b))
        corners = [
            (x + rows[0][0] * i + rows[0][1] * j, y + rows[1][0] * i + rows[1][1] * j)
            for i, j in signs
        ]
        if rows[2][2] < 0.0:
            corners.reverse()
        return Upright(tuple(corners), 0.0, 0.0, z - shape.size_z / 2, z + shape.size_z / 2)
    if isinstance(shape, Cylinder):
        half = shape.height / 2
        return Upright(((x, y),), shape.radius, 0.0, z - half, z + half)
    if isinstance(shape, Ring):
        half = shape.height / 2
        return Upright(((x, y),), shape.outer_radius, shape.inner_radius, z - half, z + half)
    return None


def turned(local: Support, rows: tuple[Vector, ...], centre: Vector) -> Support:
    """A support function turned by a rotation (rows) and then shifted, mm."""
    cx, cy, cz = centre
    (a, b, c), (d, e, f), (g, h, i) = rows
    if rows == ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)):

        def straight(nx: float, ny: float, nz: float) -> Vector:
            x, y, z = local(nx, ny, nz)
            return (x + cx, y + cy, z + cz)

        return straight

    def tilted(nx: float, ny: float, nz: float) -> Vector:
        x, y, z = local(
            a * nx + d * ny + g * nz, b * nx + e * ny + h * nz, c * nx + f * ny + i * nz
        )
        return (
            a * x + b * y + c * z + cx,
            d * x + e * y + f * z + cy,
            g * x + h * y + i * z + cz,
        )

    return tilted


def local_support(shape: object, inset: float) -> Support:
    """The support function of a shape's hull in its own frame, made smaller by ``inset`` mm."""
    if isinstance(shape, Box):
        return _box(shape.size_x / 2 - inset, shape.size_y / 2 - inset, shape.size_z / 2 - inset)
    if isinstance(shape, Cylinder):
        return _cone(shape.radius - inset, shape.radius - inset, shape.height / 2 - inset)
    if isinstance(shape, Ring):
        radius = shape.outer_radius - inset
        return _cone(radius, radius, shape.height / 2 - inset)
    if isinstance(shape, Sphere):
        return _ball(shape.radius - inset)
    if isinstance(shape, Cone):
        return _inset_cone(shape, inset)
    assert isinstance(shape, Mesh)
    return _points(shape, inset)


def _inset_cone(shape: Cone, inset: float) -> Support:
    # A slanted side moves in by the inset along its own normal, so radially by more.
    side = inset * math.hypot(1.0, (shape.radius_top - shape.radius_bottom) / shape.height)
    bottom, top, half = shape.radius_bottom, shape.radius_top, shape.height / 2
    per_mm = (top - bottom) / shape.height
    low, high = -half + inset, half - inset
    # A point recedes to where the inset sides meet.
    if per_mm > 0.0:
        low = max(low, -half + (side - bottom) / per_mm)
    elif per_mm < 0.0:
        high = min(high, half + (side - top) / per_mm)
    r_low = max(0.0, bottom + per_mm * (low + half) - side)
    r_high = max(0.0, bottom + per_mm * (high + half) - side)
    return _frustum(r_low, r_high, low, high)


def _cone(bottom: float, top: float, half: float) -> Support:
    return _frustum(bottom, top, -half, half)


def _frustum(r_low: float, r_high: float, low: float, high: float) -> Support:
    def support(nx: float, ny: float, nz: float) -> Vector:
        across = math.hypot(nx, ny)
        if across * r_low + nz * low > across * r_high + nz * high:
            radius, z = r_low, low
        else:
            radius, z = r_high, high
        if across == 0.0:
            return (0.0, 0.0, z)
        return (radius * nx / across, radius * ny / across, z)

    return support


def _box(a: float, b: float, c: float) -> Support:
    def support(nx: float, ny: float, nz: float) -> Vector:
        return (a if nx > 0.0 else -a, b if ny > 0.0 else -b, c if nz > 0.0 else -c)

    return support


def _ball(radius: float) -> Support:
    def support(nx: float, ny: float, nz: float) -> Vector:
        size = math.sqrt(nx * nx + ny * ny + nz * nz)
        return (radius * nx / size, radius * ny / size, radius * nz / size)

    return support


def _points(shape: Mesh, inset: float) -> Support:
    # Shrunk about the mean of its corners until the nearest face has moved in far enough; further
    # faces move more. Only a convex mesh that meets another convex mesh is ever asked for this.
    points = np.array(sorted(set(shape.vertices)))
    if inset:
        corners = np.array(shape.vertices)[np.array(shape.triangles)]
        middle = points.mean(axis=0)
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        sizes = np.linalg.norm(normals, axis=1)
        good = sizes > 0.0
        away = np.einsum("ij,ij->i", corners[good, 0] - middle, normals[good]) / sizes[good]
        share = 1.0 - inset / max(float(np.abs(away).min()), 2.0 * inset)
        points = middle + share * (points - middle)
    listed = [(float(p[0]), float(p[1]), float(p[2])) for p in points]
    if len(listed) < ARRAY_PAYS_FROM:

        def support(nx: float, ny: float, nz: float) -> Vector:
            return max(listed, key=lambda p: p[0] * nx + p[1] * ny + p[2] * nz)

        return support

    def support_array(nx: float, ny: float, nz: float) -> Vector:
        return listed[int(np.argmax(points @ (nx, ny, nz)))]

    return support_array
