"""Hollow solids as convex cells: a ring as sectors that split on demand, a mesh as triangles.

A sector's hull cuts its inner side straight, so it fills a little of the bore: by the sagitta.
It is a bound, good enough to leave sectors out; those that matter are halved until the sagitta is
``SAGITTA_MM``. That is how far a contact on the inner edge or wall may be off.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drytouch.sim.scene.cast import Entry, Support, cast
from drytouch.sim.scene.pieces import TOUCH_MM, Piece, place_of, turned
from drytouch.sim.scene.shapes import Mesh, Ring, Vector, rotation

# The accuracy promised for flat-faced contact, 0.01 um.
SAGITTA_MM = 1e-5


@dataclass(slots=True)
class Cell:
    """A convex part of a piece; ``split`` makes finer ones, or is None when it is exact enough."""

    support: Support
    inset: Support
    low: Vector
    high: Vector
    axes: tuple[Vector, ...]
    split: Callable[[], list[Cell]] | None = None
    upright: None = None
    rough: bool = False


def cells_of(piece: Piece, low: Vector, high: Vector) -> list[Cell]:
    """The cells of a piece that reach into the box from ``low`` to ``high``, mm, at q = 0."""
    shape = piece.part.shape
    if isinstance(shape, Ring):
        quarter = math.pi / 2
        return [_sector(piece, shape, k * quarter, (k + 1) * quarter) for k in range(4)]
    if isinstance(shape, Mesh) and piece.triangles is not None:
        lows, highs = piece.triangles.min(axis=1), piece.triangles.max(axis=1)
        near = ((lows <= high) & (highs >= low)).all(axis=1)
        return [_triangle(piece.triangles[k]) for k in np.flatnonzero(near)]
    return [Cell(piece.support, piece.inset, piece.low, piece.high, piece.axes)]


def _sector(piece: Piece, ring: Ring, begin: float, end: float) -> Cell:
    rows, centre = rotation(piece.part.turn_deg), place_of(piece.body, piece.part)
    support = turned(_sector_support(ring, begin, end, 0.0), rows, centre)
    inset = turned(_sector_support(ring, begin, end, TOUCH_MM), rows, centre)
    low, high = bounds_of(support)

    def split() -> list[Cell]:
        middle = (begin + end) / 2
        return [_sector(piece, ring, begin, middle), _sector(piece, ring, middle, end)]

    sagitta = ring.inner_radius * (1.0 - math.cos((end - begin) / 2))
    return Cell(support, inset, low, high, piece.axes, split if sagitta > SAGITTA_MM else None)


def _sector_support(ring: Ring, begin: float, end: float, inset: float) -> Support:
    outer, inner, half = (
        ring.outer_radius - inset,
        ring.inner_radius + inset,
        ring.height / 2 - inset,
    )
    middle, spread = (begin + end) / 2, (end - begin) / 2
    mx, my, cosine = math.cos(middle), math.sin(middle), math.cos(spread)
    ends = [(math.cos(angle), math.sin(angle)) for angle in (begin, end)]
    corners = [(r * x, r * y) for r in (outer, inner) for x, y in ends]

    def support(nx: float, ny: float, nz: float) -> Vector:
        z = half if nz > 0.0 else -half
        size = math.hypot(nx, ny)
        if size > 0.0 and nx * mx + ny * my >= size * cosine:
            return (outer * nx / size, outer * ny / size, z)
        x, y = max(corners, key=lambda p: p[0] * nx + p[1] * ny)
        return (x, y, z)

    return support


def _triangle(corners: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> Cell:
    p, q, r = ((float(c[0]), float(c[1]), float(c[2])) for c in corners)
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    area = float(np.linalg.norm(normal))
    sides = [float(np.linalg.norm(corners[(i + 1) % 3] - corners[(i + 2) % 3])) for i in range(3)]
    unit = normal / area if area > 0.0 else np.array((0.0, 0.0, 1.0))
    # Every edge moves in by a touch when the triangle shrinks about the centre of its inner circle.
    middle = sum(side * c for side, c in zip(sides, corners, strict=True)) / sum(sides)
    share = max(0.0, 1.0 - TOUCH_MM * sum(sides) / area) if area > 0.0 else 0.0
    small = [middle + share * (c - middle) - TOUCH_MM * unit for c in corners]
    inner = [(float(c[0]), float(c[1]), float(c[2])) for c in small]
    support = _of_three(p, q, r)
    low, high = bounds_of(support)
    axis = (float(unit[0]), float(unit[1]), float(unit[2]))
    return Cell(support, _of_three(*inner), low, high, (axis,))


def _of_three(p: Vector, q: Vector, r: Vector) -> Support:
    def support(nx: float, ny: float, nz: float) -> Vector:
        on_p = p[0] * nx + p[1] * ny + p[2] * nz
        on_q = q[0] * nx + q[1] * ny + q[2] * nz
        on_r = r[0] * nx + r[1] * ny + r[2] * nz
        if on_p >= on_q:
            return p if on_p >= on_r else r
        return q if on_q >= on_r else r

    return support


def all_cells(piece: Piece, sagitta: float) -> list[Cell]:
    """Every cell of a piece, a ring's as fine as ``sagitta`` mm asks."""
    shape = piece.part.shape
    if isinstance(shape, Ring):
        half = math.acos(max(0.0, 1.0 - sagitta / shape.inner_radius))
        count = max(4, math.ceil(math.pi / half))
        step = 2.0 * math.pi / count
        return [_sector(piece, shape, k * step, (k + 1) * step) for k in range(count)]
    infinite = (math.inf, math.inf, math.inf)
    return cells_of(piece, (-math.inf, -math.inf, -math.inf), infinite)


def bounds_of(support: Support) -> tuple[Vector, Vector]:
    """Bounding box of a solid from its support function, mm."""
    return (
        (support(-1.0, 0.0, 0.0)[0], support(0.0, -1.0, 0.0)[1], support(0.0, 0.0, -1.0)[2]),
        (support(1.0, 0.0, 0.0)[0], support(0.0, 1.0, 0.0)[1], support(0.0, 0.0, 1.0)[2]),
    )


def halves(a: Cell, b: Cell) -> list[tuple[Cell, Cell]]:
    """Finer pairs of two cells; none when both are exact enough."""
    if a.split is None and b.split is None:
        return []
    return [
        (x, y) for x in (a.split() if a.split else [a]) for y in (b.split() if b.split else [b])
    ]


def entry_bound(a: Cell, b: Cell, start: Vector, unit: Vector) -> float | None:
    """No contact of the cells comes before this distance, mm; None when there is none at all."""
    found = cast(a.support, b.support, start, unit)
    if not isinstance(found, Entry):
        return None
    if found.distance < 0.0:
        back = cast(a.support, b.support, start, (-unit[0], -unit[1], -unit[2]))
        if not isinstance(back, Entry) or back.distance >= 0.0:
            return None
    return max(0.0, found.distance)


class Queue:
    """Pairs of cells, the one that may meet soonest first; of equals the newest, so the finest."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, int, Cell, Cell]] = []
        self._count = 0

    def put(self, s: float, a: Cell, b: Cell) -> None:
        """Add a pair that can't meet before ``s``."""
        heapq.heappush(self._heap, (s, self._count, a, b))
        self._count -= 1

    def take(self, limit: float) -> tuple[float, Cell, Cell] | None:
        """The next pair that may meet before ``limit``."""
        if not self._heap or self._heap[0][0] > limit:
            return None
        s, _, a, b = heapq.heappop(self._heap)
        return s, a, b
