"""From the models to the bodies of a scene. mm and degrees; z up, the world's frame at q = 0.

At axis position (0, 0, 0) the middle of the spindle face is at the world's origin. Machine X and Y
of an item are therefore its world X and Y there, and machine Z of a top is its world z.
"""

from __future__ import annotations

import math
from functools import lru_cache

from drytouch.sim.scenario.angles import sine_cosine, turned_by
from drytouch.sim.scenario.machine import DriveLug, Machine
from drytouch.sim.scenario.scenario import Block, Stock
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.tool_geometry import tool_body
from drytouch.sim.scene import (
    Body,
    Box,
    Chain,
    Cone,
    Cylinder,
    Mesh,
    Placed,
    Ring,
    Shape,
    Sphere,
    Vector,
)

__all__ = [
    "block_body",
    "chain_of",
    "machine_bodies",
    "setter_bodies",
    "solid",
    "spindle_body",
    "stock_body",
    "tool_body",
]

# The part of the nose that counts as its face; a touch above it is a side blow.
FACE_DEPTH_MM = 2.0
# A counterbored screw sits below the surface, or the pad could not be lapped flat.
BOLT_BELOW_PAD_MM = 1.0
# Radial room around a screw head in its counterbore (ISO 273 fits leave 0.2 to 0.5).
BOLT_ROOM_MM = 0.25


def chain_of(machine: Machine) -> Chain:
    """The machine's links, as the scene wants them."""
    links: dict[str, Vector] = {
        name: (float(moves.get("x", 0)), float(moves.get("y", 0)), float(moves.get("z", 0)))
        for name, moves in machine.links.items()
    }
    links.setdefault("base", (0.0, 0.0, 0.0))
    return Chain(links, head=machine.head_link)


def machine_bodies(machine: Machine) -> tuple[Body, ...]:
    """The table, and the machine's own bodies (column, covers); not the spindle."""
    table = machine.table
    plate = Placed(
        Box(table.size_x_mm, table.size_y_mm, table.thickness_mm),
        (0.0, 0.0, -table.thickness_mm / 2),
        feature="table",
    )
    offset = (table.centre_x_mm, table.centre_y_mm, table.top_z_mm)
    bodies = [Body("table", machine.table_link, (plate,), offset=offset, kind="table")]
    for index, part in enumerate(machine.bodies):
        name = part.name or f"machine-{index + 1}"
        bodies.append(Body(name, part.link, (solid(part, name),), kind="machine"))
    return tuple(bodies)


def spindle_body(machine: Machine, angle_deg: float = 0.0) -> Body:
    """The nose and the head: face ring round the open bore, lugs at the spindle's angle."""
    spindle = machine.spindle
    outer, bore = spindle.face_diameter_mm / 2, spindle.bore_diameter_mm / 2
    depth = min(FACE_DEPTH_MM, spindle.nose_length_mm / 2)
    above = spindle.nose_length_mm - depth
    width, height = spindle.head_width_mm, spindle.head_height_mm
    parts = [
        Placed(Ring(outer, bore, depth), (0.0, 0.0, depth / 2), feature="face"),
        Placed(Ring(outer, bore, above), (0.0, 0.0, depth + above / 2), feature="nose"),
        Placed(
            Box(width, width, height),
            (0.0, 0.0, spindle.nose_length_mm + height / 2),
            feature="head",
        ),
    ]
    parts += [_lug(lug, angle_deg) for lug in spindle.lugs]
    return Body("spindle", machine.head_link, tuple(parts), kind="spindle")


def _lug(lug: DriveLug, angle_deg: float) -> Placed:
    angle = lug.angle_deg + angle_deg
    middle = (lug.inner_radius_mm + lug.outer_radius_mm) / 2
    x, y = turned_by((middle, 0.0), angle)
    shape = Box(lug.outer_radius_mm - lug.inner_radius_mm, lug.width_mm, lug.height_mm)
    return Placed(shape, (x, y, -lug.height_mm / 2), (0.0, 0.0, angle), "lug")


def setter_bodies(
    name: str, setter: Setter, foot: Vector, turn_deg: float = 0.0, link: str = "table"
) -> tuple[Body, ...]:
    """Base (``name``) and soft pad (``name.pad``); a plate is a pad alone.

    ``foot``: the middle of its bottom, world mm at q = 0. The pad tilts about the middle of its
    top, so that its height there stays what the file says.
    """
    pad = Body(
        f"{name}.pad",
        link,
        (_pad(setter, turn_deg),),
        soft=True,
        offset=foot,
        kind="pad",
    )
    if setter.kind == "plate":
        return (pad,)
    base = setter.base_height_mm
    parts = [
        Placed(Cylinder(setter.base_diameter_mm / 2, base), (0.0, 0.0, base / 2), feature="body")
    ]
    if setter.centre_bolt_diameter_mm > 0:
        parts.append(_bolt(setter))
    return (Body(name, link, tuple(parts), offset=foot, kind="setter"), pad)


def _pad(setter: Setter, turn_deg: float) -> Placed:
    under = 0.0 if setter.kind == "plate" else setter.base_height_mm
    thickness = setter.pad_height_mm - under
    outer, hole = setter.pad_diameter_mm / 2, setter.centre_bolt_diameter_mm / 2
    shape: Shape = Ring(outer, hole, thickness) if hole > 0 else Cylinder(outer, thickness)
    tilt, axis = math.radians(setter.tilt_deg), setter.tilt_axis_deg + turn_deg
    # The pad's own z axis after a turn by the tilt about x, then by the axis' direction about z.
    x, y = turned_by((0.0, -math.sin(tilt)), axis)
    half = thickness / 2
    middle = (-half * x, -half * y, setter.pad_height_mm - half * math.cos(tilt))
    turn = (setter.tilt_deg, 0.0, axis if setter.tilt_deg else 0.0)
    return Placed(shape, middle, turn, "pad")


def _bolt(setter: Setter) -> Placed:
    diameter = setter.centre_bolt_diameter_mm
    radius = max(diameter / 2 - BOLT_ROOM_MM, diameter / 4)
    top = setter.pad_height_mm - BOLT_BELOW_PAD_MM
    height = max(top - setter.base_height_mm, 0.0) + setter.base_height_mm / 2
    return Placed(Cylinder(radius, height), (0.0, 0.0, top - height / 2), feature="bolt")


def stock_body(
    name: str, stock: Stock, foot: Vector, turn_deg: float = 0.0, link: str = "table"
) -> Body:
    """Stock, vise or clamp, its own origin at ``foot`` (world mm at q = 0)."""
    parts = tuple(solid(part, part.name or stock.kind, turn_deg) for part in stock.parts)
    return Body(name, link, parts, offset=foot, kind=stock.kind)


def block_body(
    name: str, block: Block, foot: Vector, turn_deg: float = 0.0, link: str = "table"
) -> Body:
    """A gauge block that stands on its foot, as tall as it really is."""
    size = block.true_size_mm
    part = Placed(
        Box(block.width_mm, block.depth_mm, size),
        (0.0, 0.0, size / 2),
        (0.0, 0.0, turn_deg),
        "block",
    )
    return Body(name, link, (part,), offset=foot, kind="block")


def solid(part: SolidPart, feature: str, turn_deg: float = 0.0) -> Placed:
    """One solid of a file in its place, turned by ``turn_deg`` about its owner's z axis."""
    shape, half = _shape(part)
    at_x, at_y = turned_by((part.at_mm[0], part.at_mm[1]), turn_deg)
    turn = (part.turn_deg[0], part.turn_deg[1], part.turn_deg[2] + turn_deg)
    up = _up(turn)
    at = (at_x + half * up[0], at_y + half * up[1], part.at_mm[2] + half * up[2])
    return Placed(shape, at, turn, feature)


def _shape(part: SolidPart) -> tuple[Shape, float]:
    """The shape, and how far its own origin lies above the middle of its bottom."""
    if part.shape == "box":
        assert part.size_mm is not None
        return Box(*part.size_mm), part.size_mm[2] / 2
    if part.shape == "mesh":
        assert part.file is not None
        return _mesh(part.file, part.file_unit or "mm"), 0.0
    assert part.diameter_mm is not None
    radius = part.diameter_mm / 2
    if part.shape == "sphere":
        return Sphere(radius), radius
    assert part.height_mm is not None
    if part.shape == "cylinder":
        return Cylinder(radius, part.height_mm), part.height_mm / 2
    return Cone(radius, (part.top_diameter_mm or 0.0) / 2, part.height_mm), part.height_mm / 2


@lru_cache(maxsize=32)
def _mesh(file: str, unit: str) -> Mesh:
    # Imported here: most scenarios have no mesh, and reading one brings in more modules.
    from drytouch.sim.scene.mesh import read_stl

    return read_stl(file, unit)


def _up(turn_deg: Vector) -> Vector:
    """Where a shape's own z axis points after its turns about x, y and z."""
    (sx, cx), (sy, cy) = sine_cosine(turn_deg[0]), sine_cosine(turn_deg[1])
    x, y = turned_by((sy * cx, -sx), turn_deg[2])
    return (x, y, cy * cx)
