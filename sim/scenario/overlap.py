"""Whether solids overlap where they stand, so that an impossible start is refused."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from drytouch.sim.scenario.geometry import chain_of
from drytouch.sim.scenario.places import start_bodies, start_position
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scene import Body, Mesh, Vector
from drytouch.sim.scene.cast import Entry, cast
from drytouch.sim.scene.pieces import Piece, prepare

_UP: Vector = (0.0, 0.0, 1.0)
_DOWN: Vector = (0.0, 0.0, -1.0)


def overlapping(scenario: Scenario) -> Iterator[tuple[Body, Body]]:
    """Pairs of bodies that overlap at the start by more than a touch (1e-6 mm).

    Meshes are left out: only their hulls could be compared here, and a fixture is hollow where
    the stock goes.
    """
    chain, q = chain_of(scenario.machine), start_position(scenario)
    bodies = [(body, chain.displacement(body.link, q)) for body in start_bodies(scenario)]
    fixed = {body.name or f"machine-{i + 1}" for i, body in enumerate(scenario.machine.bodies)}
    owners = [_owner(body, fixed) for body, _ in bodies]
    pieces = [prepare(body) for body, _ in bodies]
    for first, second in combinations(range(len(bodies)), 2):
        if owners[first] == owners[second]:
            continue
        shift = _difference(bodies[first][1], bodies[second][1])
        if any(_overlap(a, b, shift) for a in pieces[first] for b in pieces[second]):
            yield bodies[first][0], bodies[second][0]


def _owner(body: Body, fixed: set[str]) -> str:
    """Bodies of one owner belong together: parts of the machine, a setter and its pad."""
    if body.id in fixed or body.id in ("table", "spindle"):
        return "spindle" if body.id == "spindle" else "machine"
    return "spindle" if body.id == "tool" else body.id.removesuffix(".pad")


def _difference(a: Vector, b: Vector) -> Vector:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def _overlap(a: Piece, b: Piece, shift: Vector) -> bool:
    """Whether ``a``, moved by ``shift``, shares more than its skin with ``b``."""
    if isinstance(a.part.shape, Mesh) or isinstance(b.part.shape, Mesh):
        return False
    for low, high, other_low, other_high, moved in zip(
        a.low, a.high, b.low, b.high, shift, strict=True
    ):
        if low + moved >= other_high or high + moved <= other_low:
            return False
    # The line through where they are now enters behind them, whichever way it runs.
    up = cast(a.inset, b.inset, shift, _UP)
    down = cast(a.inset, b.inset, shift, _DOWN)
    return isinstance(up, Entry) and isinstance(down, Entry) and max(up.distance, down.distance) < 0
