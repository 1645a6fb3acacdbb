"""A body: shapes that hang together on one link of the machine."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

from drytouch.sim.errors import InputError
from drytouch.sim.scene.shapes import Mesh, Placed, Vector


@dataclass(frozen=True)
class Body:
    """A rigid body on a link.

    ``offset``: mm, its origin in the link's frame, which is the world's frame at q = (0, 0, 0).
    ``soft``: a setter's pad; contact with it is reported and passed through. ``kind`` ("tool",
    "pad", "vise" ...) and ``cast`` (the look to draw it with) say what it is to people and
    pictures; neither changes any contact.
    """

    id: str
    link: str
    parts: tuple[Placed, ...]
    soft: bool = False
    offset: Vector = (0.0, 0.0, 0.0)
    kind: str = ""
    cast: str = ""

    def __post_init__(self) -> None:
        if not self.id:
            raise InputError("a body without id; expected a name", key="id")
        if not self.parts:
            raise InputError(f"body {self.id!r} has no parts; expected at least one", key="parts")

    def moved(self, dx: float, dy: float, dz: float) -> Body:
        """The same body elsewhere, mm."""
        x, y, z = self.offset
        return replace(self, offset=(x + dx, y + dy, z + dz))

    def digest(self) -> int:
        """128 bits that tell this body from another, the same in every process."""
        parts = [
            (p.shape.digest if isinstance(p.shape, Mesh) else p.shape, p.at, p.turn_deg, p.feature)
            for p in self.parts
        ]
        text = repr((self.id, self.link, parts, self.soft, self.offset)).encode()
        return int.from_bytes(hashlib.blake2b(text, digest_size=16).digest(), "big")
