"""Which link of a machine moves with which axis, and by how much."""

from __future__ import annotations

from collections.abc import Mapping

from drytouch.sim.errors import InputError
from drytouch.sim.scene.shapes import Vector


class Chain:
    """The links of a machine; each moves by a diagonal matrix times the axis position, mm.

    A mill with a moving table: ``{"head": (0, 0, 1), "table": (-1, -1, 0), "base": (0, 0, 0)}``.
    ``head`` names the link that carries the spindle: in a contact its bodies count as the moving
    ones.
    """

    def __init__(self, links: Mapping[str, Vector], head: str = "head") -> None:
        if not links:
            raise InputError("a chain without links; expected at least one", key="links")
        for name, factors in links.items():
            if len(factors) != 3 or any(factor not in (-1, 0, 1) for factor in factors):
                raise InputError(
                    f"link {name!r} has {factors!r}; expected three numbers, each -1, 0 or 1",
                    key=f"links.{name}",
                    fix="per axis: 1 moves with it, -1 against it, 0 not at all",
                )
        self.links: dict[str, Vector] = {
            name: (float(f[0]), float(f[1]), float(f[2])) for name, f in links.items()
        }
        self.head = head
        # The head leads, the rest follow by name: never by the order in which a file lists them.
        self.order = tuple(sorted(self.links, key=lambda name: (name != head, name)))

    def factors(self, link: str) -> Vector:
        """The diagonal of the link's matrix."""
        try:
            return self.links[link]
        except KeyError:
            known = ", ".join(sorted(self.links))
            raise InputError(
                f"no link {link!r} in this machine; it has {known}", key="link", fix=f"use {known}"
            ) from None

    def displacement(self, link: str, q: Vector) -> Vector:
        """Where the link's origin is in the world, mm, with the axes at ``q``, mm."""
        mx, my, mz = self.factors(link)
        return (mx * q[0], my * q[1], mz * q[2])

    def relative(self, link_a: str, link_b: str, direction: Vector) -> Vector:
        """Motion of ``link_a`` seen from ``link_b``, mm per mm of path along ``direction``."""
        ax, ay, az = self.factors(link_a)
        bx, by, bz = self.factors(link_b)
        return (
            (ax - bx) * direction[0],
            (ay - by) * direction[1],
            (az - bz) * direction[2],
        )

    @property
    def key(self) -> tuple[str, tuple[tuple[str, Vector], ...]]:
        """What makes two chains the same."""
        return (self.head, tuple(sorted(self.links.items())))
