"""Solid shapes, and a shape put in its place on a body. Millimetres; z is up.

The origin of every shape but ``Mesh`` is the middle of its bounding box; its axis, if it has one,
is z. ``Mesh`` keeps the origin of its file: whoever drew a fixture chose that point on purpose.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field

from drytouch.sim.errors import InputError

Vector = tuple[float, float, float]


def _require(shape: str, name: str, value: float, lowest: float, inclusive: bool = False) -> None:
    good = value >= lowest if inclusive else value > lowest
    if not (math.isfinite(value) and good):
        sign = ">=" if inclusive else ">"
        raise InputError(
            f"{shape}.{name} is {value!r}; expected a number {sign} {lowest} mm",
            key=name,
            fix=f"give {name} in mm",
        )


@dataclass(frozen=True)
class Box:
    """A rectangular block, mm; origin at its middle."""

    size_x: float
    size_y: float
    size_z: float

    def __post_init__(self) -> None:
        for name in ("size_x", "size_y", "size_z"):
            _require("Box", name, getattr(self, name), 0.0)


@dataclass(frozen=True)
class Cylinder:
    """A round bar along z, mm; origin on the axis at half height."""

    radius: float
    height: float

    def __post_init__(self) -> None:
        for name in ("radius", "height"):
            _require("Cylinder", name, getattr(self, name), 0.0)


@dataclass(frozen=True)
class Cone:
    """A truncated cone along z, mm; origin on the axis at half height.

    Either radius may be 0: a drill's point has ``radius_bottom=0``.
    """

    radius_bottom: float
    radius_top: float
    height: float

    def __post_init__(self) -> None:
        _require("Cone", "radius_bottom", self.radius_bottom, 0.0, inclusive=True)
        _require("Cone", "radius_top", self.radius_top, 0.0, inclusive=True)
        _require("Cone", "height", self.height, 0.0)
        _require("Cone", "larger radius", max(self.radius_bottom, self.radius_top), 0.0)


@dataclass(frozen=True)
class Sphere:
    """A ball, mm; origin at its centre."""

    radius: float

    def __post_init__(self) -> None:
        _require("Sphere", "radius", self.radius, 0.0)


@dataclass(frozen=True)
class Ring:
    """A round plate with a round hole right through, mm; origin on the axis at half height.

    The bare spindle face around its open bore.
    """

    outer_radius: float
    inner_radius: float
    height: float

    def __post_init__(self) -> None:
        _require("Ring", "inner_radius", self.inner_radius, 0.0)
        _require("Ring", "outer_radius", self.outer_radius, self.inner_radius)
        _require("Ring", "height", self.height, 0.0)


@dataclass(frozen=True)
class Mesh:
    """A watertight surface of triangles, mm; origin as drawn.

    ``vertices``: (x, y, z) points; ``triangles``: index triples, counter-clockwise seen from
    outside. ``read_stl`` builds one from a file and checks it.
    """

    vertices: tuple[Vector, ...]
    triangles: tuple[tuple[int, int, int], ...]
    digest: str = field(default="", compare=False, repr=False)

    def __post_init__(self) -> None:
        if len(self.triangles) < 4:
            raise InputError(
                f"a mesh of {len(self.triangles)} triangles can't be closed; expected 4 or more",
                fix="export the whole closed surface of the solid",
            )
        # Kept once: hashing 200,000 triangles at each question to the cache would cost a second.
        text = repr((self.vertices, self.triangles)).encode()
        object.__setattr__(self, "digest", hashlib.blake2b(text, digest_size=16).hexdigest())

    def __hash__(self) -> int:
        return hash(self.digest)


Shape = Box | Cylinder | Cone | Sphere | Ring | Mesh


@dataclass(frozen=True)
class Placed:
    """A shape in its place on a body.

    ``at``: mm, the shape's origin in the body's frame; ``turn_deg``: turns about the body's x,
    then y, then z axis, degrees; ``feature``: what a person calls it ("tip", "lug", "pad").
    """

    shape: Shape
    at: Vector = (0.0, 0.0, 0.0)
    turn_deg: Vector = (0.0, 0.0, 0.0)
    feature: str = ""

    def __post_init__(self) -> None:
        for name in ("at", "turn_deg"):
            value = getattr(self, name)
            if len(value) != 3 or not all(math.isfinite(number) for number in value):
                raise InputError(
                    f"Placed.{name} is {value!r}; expected three finite numbers", key=name
                )


def rotation(turn_deg: Vector) -> tuple[Vector, Vector, Vector]:
    """Rows of the matrix that turns about x, then y, then z (degrees)."""
    cx, cy, cz = (_cosine(angle) for angle in turn_deg)
    sx, sy, sz = (_cosine(angle - 90.0) for angle in turn_deg)
    return (
        (cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx),
        (sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx),
        (-sy, cy * sx, cy * cx),
    )


def _cosine(degrees: float) -> float:
    # Quarter turns must come out exact, or a lug at 90 degrees would count as tilted.
    quarter, rest = divmod(degrees, 90.0)
    if rest == 0.0:
        return (1.0, 0.0, -1.0, 0.0)[int(quarter) % 4]
    return math.cos(math.radians(degrees))
