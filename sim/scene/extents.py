"""Bounding boxes of bodies where they are."""

from __future__ import annotations

from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.bounds import joined
from drytouch.sim.scene.chain import Chain
from drytouch.sim.scene.pieces import prepare
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Vector


def bounds(
    body: Body, q: Vector = (0.0, 0.0, 0.0), chain: Chain | Scene | None = None
) -> tuple[Vector, Vector]:
    """Lowest and highest corner of a body's box, world mm, with the axes at ``q``.

    Without a chain (or a scene, for its chain) the body is taken as it stands at q = (0, 0, 0).
    """
    low, high = joined(prepare(body))
    if chain is None:
        return low, high
    links = chain.chain if isinstance(chain, Scene) else chain
    x, y, z = links.displacement(body.link, q)
    return (low[0] + x, low[1] + y, low[2] + z), (high[0] + x, high[1] + y, high[2] + z)
