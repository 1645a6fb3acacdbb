"""From bodies to triangles: each solid of a recording as a PyVista mesh in the world, mm."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from drytouch.sim.recording import BodyAt, Recording
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import (
    Box,
    Cone,
    Cylinder,
    Mesh,
    Placed,
    Ring,
    Shape,
    Sphere,
    Vector,
    rotation,
)
from drytouch.viz.look import look_of
from drytouch.viz.opengl import choose_window

choose_window()

import pyvista  # noqa: E402 - VTK reads the choice of window when it is imported

SIDES = 96
"""Facets around: on a 1280 x 720 picture no corner of a circle shows any more."""
BEVEL_SHARE = 0.04
BEVEL_MOST_MM = 0.6
"""Edges catch light only when broken; small enough that no height or gap looks wrong."""

FINGER_RADIUS_MM, FINGER_LENGTH_MM, FINGER_LEAN = 8.0, 60.0, 0.95
"""A forefinger (Garrett 1971: about 75 long, 16 wide), off what hangs above; lean in radians."""

Bounds = tuple[float, float, float, float, float, float]


class Solid(NamedTuple):
    """One part as drawn: who it is, its mesh in the world (mm), its box and its bore's radius."""

    body_id: str
    kind: str
    feature: str
    look: str
    mesh: Any
    bounds: Bounds
    bore_mm: float = 0.0

    def moved(self, by: Vector) -> Solid:
        """The same part elsewhere, mm."""
        b, (dx, dy, dz) = self.bounds, by
        return self._replace(
            mesh=self.mesh.translate(by, inplace=False),
            bounds=(b[0] + dx, b[1] + dx, b[2] + dy, b[3] + dy, b[4] + dz, b[5] + dz),
        )

    def cut_open(self, at: Vector, towards: tuple[float, float]) -> Solid:
        """The half that lies beyond an upright plane through ``at``, seen from ``towards``."""
        normal = (-towards[0], -towards[1], 0.0)
        # Points that were split at sharp edges are joined again: a cap needs a closed surface.
        closed = self.mesh.clean()
        half = closed.clip_closed_surface(normal=normal, origin=at)
        if half.n_cells == 0:
            return self
        return self._replace(
            mesh=half.compute_normals(cell_normals=False, split_vertices=True, feature_angle=25.0)
        )

    @property
    def middle(self) -> Vector:
        """The middle of its box, mm."""
        b = self.bounds
        return ((b[0] + b[1]) / 2, (b[2] + b[3]) / 2, (b[4] + b[5]) / 2)


def solids_at(recording: Recording, t: float) -> list[Solid]:
    """Everything that is there at ``t``; pressed pads are where the press has put them."""
    found: list[Solid] = []
    for item in recording.bodies_at(t):
        drop = 0.0
        if item.body.soft:
            drop = recording.pad_depth_at(item.id.removesuffix(".pad"), t)
        found += solids_of(item, drop)
    return found


def solids_of(item: BodyAt, drop_mm: float = 0.0) -> Iterable[Solid]:
    """The parts of one body in the world, lowered by ``drop_mm``."""
    body = item.body
    x, y, z = item.position
    place = _matrix((x, y, z - drop_mm), (0.0, 0.0, item.turn_deg))
    for part in body.parts:
        mesh = mesh_of(part.shape).transform(place @ _part_matrix(part), inplace=False)
        bounds: Bounds = tuple(float(b) for b in mesh.bounds)  # type: ignore[assignment]
        key = look_of(body.kind, part.feature)
        bore = part.shape.inner_radius if isinstance(part.shape, Ring) else 0.0
        yield Solid(item.id, body.kind, part.feature, key, mesh, bounds, bore)


def finger(on: Solid) -> Solid:
    """A plain forefinger with its tip on the part, coming from the upper right."""
    x, y, _ = on.middle
    lean = (math.sin(FINGER_LEAN), 0.0, math.cos(FINGER_LEAN))
    reach = FINGER_RADIUS_MM + FINGER_LENGTH_MM / 2
    at = (x + lean[0] * reach, y, on.bounds[5] + lean[2] * reach)
    mesh = pyvista.Capsule(at, lean, FINGER_RADIUS_MM, FINGER_LENGTH_MM)
    mesh = mesh.extract_surface(algorithm="dataset_surface").compute_normals()
    bounds: Bounds = tuple(float(b) for b in mesh.bounds)  # type: ignore[assignment]
    return Solid("hand", "hand", "hand", "hand", mesh, bounds)


def local_parts(body: Body) -> list[tuple[str, Any]]:
    """The body's parts in its own frame, mm: the key of its look, and its mesh of triangles."""
    return [
        (look_of(body.kind, part.feature), _local(part.shape, part.at, part.turn_deg))
        for part in body.parts
    ]


@lru_cache(maxsize=256)
def _local(shape: Shape, at: Vector, turn_deg: Vector) -> Any:
    return mesh_of(shape).triangulate().transform(_matrix(at, turn_deg), inplace=False)


def _part_matrix(part: Placed) -> Any:
    return _matrix(part.at, part.turn_deg)


def _matrix(at: Vector, turn_deg: Vector) -> Any:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation(turn_deg)
    matrix[:3, 3] = at
    return matrix


@lru_cache(maxsize=256)
def mesh_of(shape: Shape) -> Any:
    """A shape's surface about its own origin, normals split at sharp edges."""
    if isinstance(shape, Mesh):
        faces = np.hstack([(3, *triangle) for triangle in shape.triangles])
        mesh = pyvista.PolyData(np.array(shape.vertices, float), faces)
    elif isinstance(shape, Box):
        mesh = _box(shape)
    elif isinstance(shape, Sphere):
        mesh = pyvista.Sphere(radius=shape.radius, theta_resolution=SIDES, phi_resolution=48)
    else:
        mesh = _turned(_profile(shape))
    return mesh.compute_normals(
        cell_normals=False, split_vertices=True, feature_angle=25.0, auto_orient_normals=False
    )


def _bevel(*sizes: float) -> float:
    return min(BEVEL_MOST_MM, BEVEL_SHARE * min(sizes))


def _box(box: Box) -> Any:
    """A block with broken edges: the hull of its twenty-four bevel corners."""
    x, y, z = box.size_x / 2, box.size_y / 2, box.size_z / 2
    c = _bevel(x, y, z)
    points = [
        (sx * px, sy * py, sz * pz)
        for sx in (-1, 1)
        for sy in (-1, 1)
        for sz in (-1, 1)
        for px, py, pz in ((x, y - c, z - c), (x - c, y, z - c), (x - c, y - c, z))
    ]
    return pyvista.PolyData(points).delaunay_3d().extract_surface(algorithm="dataset_surface")


def _profile(shape: Cylinder | Cone | Ring) -> list[tuple[float, float]]:
    """The outline in (radius, z) that is turned about z, from the bottom's inside round."""
    h = shape.height / 2
    if isinstance(shape, Ring):
        inner, outer = shape.inner_radius, shape.outer_radius
        c = _bevel(shape.height, outer - inner)
        return [
            (inner, -h + c), (inner + c, -h), (outer - c, -h), (outer, -h + c),
            (outer, h - c), (outer - c, h), (inner + c, h), (inner, h - c), (inner, -h + c),
        ]  # fmt: skip
    if isinstance(shape, Cone):
        low, high = shape.radius_bottom, shape.radius_top
        return [(0.0, -h), (low, -h), (high, h), (0.0, h)]
    c = _bevel(shape.height, shape.radius)
    r = shape.radius
    return [(0.0, -h), (r - c, -h), (r, -h + c), (r, h - c), (r - c, h), (0.0, h)]


def _turned(profile: list[tuple[float, float]]) -> Any:
    """The closed surface of a profile turned once round."""
    around = np.arange(SIDES) * (math.tau / SIDES)
    rows = [np.column_stack((r * np.cos(around), r * np.sin(around), np.full(SIDES, z)))
            for r, z in profile]  # fmt: skip
    faces: list[int] = []
    for row in range(len(profile) - 1):
        low, high = row * SIDES, (row + 1) * SIDES
        for a in range(SIDES):
            b = (a + 1) % SIDES
            faces += [4, low + a, low + b, high + b, high + a]
    return pyvista.PolyData(np.vstack(rows), np.array(faces)).triangulate().clean()
