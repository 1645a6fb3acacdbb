"""From the plain data of a recording back to bodies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording.layout import GeometryLayout, PartLayout, RecordingLayout
from drytouch.sim.recording.recorder import Vector
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Placed, Ring, Shape, Sphere

SHAPES: dict[str, type[Any]] = {
    shape.__name__.lower(): shape for shape in (Box, Cylinder, Cone, Sphere, Ring, Mesh)
}


@dataclass(frozen=True)
class Geometry:
    """A body's solids, to be put on a link somewhere."""

    layout: GeometryLayout
    parts: tuple[Placed, ...]

    def on(self, link: str, offset: Vector) -> Body:
        """The body at that offset (mm) on that link."""
        g = self.layout
        return Body(g.id, link, self.parts, g.soft, offset, g.kind, g.cast)


def bodies_of(layout: RecordingLayout, name: str) -> list[Geometry]:
    """Every geometry version; InputError when a size is impossible."""
    found = []
    for index, geometry in enumerate(layout.geometry):
        try:
            parts = tuple(
                Placed(_shape(part), part.at, part.turn_deg, part.feature)
                for part in geometry.parts
            )
            if not geometry.id:
                raise InputError("a body without id; expected a name")
        except (InputError, TypeError, ValueError, OverflowError) as error:
            text = error.message if isinstance(error, InputError) else str(error)
            raise InputError(
                text,
                file=name,
                key=f"geometry.{index}",
                fix="the file is damaged: record the run again",
            ) from error
        found.append(Geometry(geometry, parts))
    return found


def _shape(part: PartLayout) -> Shape:
    if part.shape == "mesh":
        return _mesh(part.size)
    wrong = [key for key, value in part.size.items() if type(value) not in (int, float)]
    if wrong:
        raise InputError(f"{part.shape}.{wrong[0]} must be a number")
    shape: Shape = SHAPES[part.shape](**part.size)
    return shape


def _mesh(size: dict[str, Any]) -> Mesh:
    points: tuple[Vector, ...] = tuple(
        (float(x), float(y), float(z)) for x, y, z in size["vertices"]
    )
    triangles = tuple((a, b, c) for a, b, c in size["triangles"])
    for corner in (corner for triangle in triangles for corner in triangle):
        if type(corner) is not int or not 0 <= corner < len(points):
            raise InputError(f"mesh: triangle corner {corner!r} isn't one of its vertices")
    return Mesh(points, triangles)
