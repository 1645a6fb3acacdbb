"""Gaps between bodies that stand still: how near, what is nearest, what overlaps, what is below.

Upright blocks, bars and rings have a closed form; other convex solids an exact search by support
functions; hollow ones go to python-fcl as triangles, round shapes with ``SIDES`` sides.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import combinations
from typing import NamedTuple

import fcl
import numpy as np

from drytouch.sim.scene.flats import outline_distance, widened
from drytouch.sim.scene.gap import gap_between
from drytouch.sim.scene.pairs import Solid, separation, way_out
from drytouch.sim.scene.pieces import TOUCH_MM, Piece, Upright, place_of
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Vector, rotation
from drytouch.sim.scene.surfaces import surface

# A side's sagitta is radius * 9.5e-6: 0.3 um on a bore of 30 mm radius.
SIDES = 720


class Nearest(NamedTuple):
    """The smallest gap, mm, and the ids that it is between."""

    distance: float
    moving_body: str
    other_body: str


def distance(scene: Scene, id_a: str, id_b: str, q: Vector) -> float:
    """Gap between two bodies with the axes at ``q``, mm; negative when they overlap.

    Within 1e-8 mm between upright blocks, bars and rings, 1e-6 mm between other convex solids,
    1e-3 mm where a mesh or a tilted ring is one of them. An overlap's depth is exact for upright
    ones, and else that along the solids' own axes.
    """
    dx, dy, dz = scene.chain.displacement(scene.body(id_a).link, q)
    ex, ey, ez = scene.chain.displacement(scene.body(id_b).link, q)
    start = (dx - ex, dy - ey, dz - ez)
    return min(
        piece_distance(a, b, start) for a in scene.pieces((id_a,)) for b in scene.pieces((id_b,))
    )


def nearest(scene: Scene, ids_moving: Iterable[str], q: Vector) -> Nearest | None:
    """The smallest gap from some bodies to any on another link; None without such a body."""
    best: Nearest | None = None
    for a in scene.pieces(ids_moving):
        da = scene.chain.displacement(a.body.link, q)
        for link, group in scene.links().items():
            if link == a.body.link:
                continue
            db = scene.chain.displacement(link, q)
            start = (da[0] - db[0], da[1] - db[1], da[2] - db[2])
            low, high = np.add(a.low, start), np.add(a.high, start)
            gaps = np.maximum(group.lows - high, low - group.highs)
            bounds = np.linalg.norm(np.maximum(gaps, 0.0), axis=1)
            for k in np.argsort(bounds, kind="stable"):
                b = group.pieces[int(k)]
                if best is not None and bounds[k] > max(best.distance, 0.0):
                    break
                if scene.ignored(a.body.id, b.body.id):
                    continue
                gap = piece_distance(a, b, start)
                if best is None or gap < best.distance:
                    best = Nearest(gap, a.body.id, b.body.id)
    return best


def overlaps(scene: Scene, q: Vector, tolerance: float = TOUCH_MM) -> list[tuple[str, str]]:
    """Pairs of bodies on different links that overlap by more than ``tolerance`` mm, by id."""
    found = set()
    for (link_a, group_a), (link_b, group_b) in combinations(scene.links().items(), 2):
        da, db = scene.chain.displacement(link_a, q), scene.chain.displacement(link_b, q)
        start = (da[0] - db[0], da[1] - db[1], da[2] - db[2])
        for a in group_a.pieces:
            low, high = np.add(a.low, start) + tolerance, np.add(a.high, start) - tolerance
            meets = ((group_b.lows < high) & (group_b.highs > low)).all(axis=1)
            for k in np.flatnonzero(meets):
                b = group_b.pieces[int(k)]
                pair = (min(a.body.id, b.body.id), max(a.body.id, b.body.id))
                if pair in found or scene.ignored(*pair):
                    continue
                if piece_distance(a, b, start) < -tolerance:
                    found.add(pair)
    return sorted(found)


def height_under(
    scene: Scene, ids: Iterable[str], q: Vector, direction: Vector, length: float
) -> float | None:
    """Highest world z, mm, of what stands under the path of some bodies; None when nothing does.

    Counts everything on other links that begins below the top of these bodies, wherever bounding
    boxes meet seen from above: never too low, and too high where a box is roomier than its body.
    """
    moving = scene.pieces(ids)
    heights: list[float] = []
    end = tuple(q[i] + direction[i] * length for i in range(3))
    for a in moving:
        for link, group in scene.links().items():
            if link == a.body.link:
                continue
            w = scene.chain.relative(a.body.link, link, direction)
            da, db = scene.chain.displacement(a.body.link, q), scene.chain.displacement(link, q)
            top = db[2], scene.chain.displacement(link, (end[0], end[1], end[2]))[2]
            for b in group.pieces:
                if any(b.body.id == other.body.id for other in moving):
                    continue
                if _over(a, b, da, db, w, length):
                    heights.append(b.high[2] + max(top))
    return max(heights, default=None)


def _over(a: Piece, b: Piece, da: Vector, db: Vector, w: Vector, length: float) -> bool:
    if b.low[2] + db[2] > a.high[2] + da[2]:
        return False
    begin, end = 0.0, length
    for i in (0, 1):
        low = b.low[i] + db[i] - a.high[i] - da[i]
        high = b.high[i] + db[i] - a.low[i] - da[i]
        if w[i] > 0.0:
            begin, end = max(begin, low / w[i]), min(end, high / w[i])
        elif w[i] < 0.0:
            begin, end = max(begin, high / w[i]), min(end, low / w[i])
        elif not low <= 0.0 <= high:
            return False
    return begin <= end


def piece_distance(a: Piece, b: Piece, start: Vector) -> float:
    """Gap between two pieces, A shifted by ``start``, mm; negative when they overlap."""
    if a.upright is not None and b.upright is not None:
        return _flat_distance(a.upright, b.upright, start)
    if a.hollow or b.hollow:
        return _hollow_distance(a, b, start)
    gap = separation(a.support, b.support, start, way_out(a, b, start))
    found = gap_between(a.support, b.support, start)
    return gap if found is None else max(gap, found[0])


def _flat_distance(a: Upright, b: Upright, start: Vector) -> float:
    above = max(a.low + start[2] - b.high, b.low - a.high - start[2])
    corners, radius = widened(a, b)
    aside = outline_distance(corners, start[0], start[1])[0] - radius
    for inner, ring, sign in ((b, a, -1.0), (a, b, 1.0)):
        if ring.hole:
            cx, cy = ring.corners[0]
            reach = max(
                math.hypot(x + sign * start[0] - cx, y + sign * start[1] - cy)
                for x, y in inner.corners
            )
            aside = max(aside, ring.hole - inner.radius - reach)
    if above <= 0.0 or aside <= 0.0:
        return max(above, aside)
    return math.hypot(above, aside)


def _hollow_distance(a: Piece, b: Piece, start: Vector) -> float:
    first, second = _surface_object(a), _surface_object(b)
    first.setTranslation(np.array(start))
    second.setTranslation(np.zeros(3))
    request, result = fcl.DistanceRequest(), fcl.DistanceResult()
    gap = float(fcl.distance(first, second, request, result))
    if gap > 0.0:
        return gap
    contacts = fcl.CollisionResult()
    every = fcl.CollisionRequest(num_max_contacts=1000, enable_contact=True)
    fcl.collide(first, second, every, contacts)
    # Triangles that touch have no depth of their own; what fcl tells is the best there is.
    return -max((float(c.penetration_depth) for c in contacts.contacts), default=0.0)


def nearest_normal(a: Solid, b: Solid, start: Vector) -> Vector | None:
    """Unit vector from B's nearest point to A's; None when the hulls touch or overlap."""
    found = gap_between(a.support, b.support, start)
    return None if found is None else found[1]


def _surface_object(piece: Piece) -> fcl.CollisionObject:
    if piece.surface is None:
        points, triangles = surface(piece.part.shape, SIDES)
        turned = points @ np.array(rotation(piece.part.turn_deg)).T
        model = fcl.BVHModel()
        model.beginModel(len(triangles), len(points))
        model.addSubModel(turned + np.array(place_of(piece.body, piece.part)), triangles)
        model.endModel()
        piece.surface = fcl.CollisionObject(model, fcl.Transform())
    return piece.surface
