"""Every contact along a straight move, up to and including the first hard one."""

from __future__ import annotations

import math
from collections import OrderedDict
from typing import NamedTuple

import numpy as np

from drytouch.sim.errors import InputError
from drytouch.sim.scene.bounds import bounds_meet, joined, swept
from drytouch.sim.scene.pairs import Meeting, meet
from drytouch.sim.scene.pieces import TOUCH_MM, Piece
from drytouch.sim.scene.scene import LinkPieces, Scene
from drytouch.sim.scene.shapes import Vector

# Fewer pieces than this are sifted faster one by one than by array (measured).
ARRAY_PAYS_FROM = 24


class Hit(NamedTuple):
    """One contact.

    ``s``: path from the start, mm. The *moving* body is the one on the head's link if either is,
    else the one whose link's name comes first. ``point``: world, mm, at the contact; ``normal``:
    unit, from the other body to the moving one. ``soft``: either body is a pad, passed through.
    ``graze``: they come within 1e-6 mm without pressing into each other, which no number can
    tell from a miss; the line is followed past it.
    """

    s: float
    moving_body: str
    moving_feature: str
    other_body: str
    other_feature: str
    point: Vector
    normal: Vector
    soft: bool
    graze: bool


def first_contacts(scene: Scene, q: Vector, direction: Vector, length: float) -> tuple[Hit, ...]:
    """Every contact on the line from axis position ``q``, in order, up to the first hard one.

    ``q``, ``length``: mm; ``direction``: unit vector of the axes. What is within 1e-6 mm of the
    first hard contact is told too. Touching at the start, sliding and leaving are no contacts;
    pressing on from a touch is one at s = 0. Exact to 1e-8 mm; to 3e-6 mm for a mesh, or a ring
    on anything tilted or round, along the normal, and to 1e-5 mm across it at such a ring's bore.
    """
    _check_line(direction, length)
    hits: list[Hit] = []
    if length == 0.0:
        return ()
    limit = length
    for s, a, b, start, w in _candidates(scene, q, direction, length):
        if s > limit + TOUCH_MM:
            break
        meeting = meet(scene, a, b, start, w, length)
        if meeting is None:
            continue
        s = meeting.s
        then = (q[0] + s * direction[0], q[1] + s * direction[1], q[2] + s * direction[2])
        hit = hit_of(scene, then, a, b, meeting)
        hits.append(hit)
        if not (hit.soft or hit.graze):
            limit = min(limit, s)
    return in_order(hits)


def hit_of(scene: Scene, q: Vector, a: Piece, b: Piece, meeting: Meeting) -> Hit:
    """The contact as told, with the axes at ``q`` when it happens."""
    x, y, z = scene.chain.displacement(b.body.link, q)
    point = (meeting.point[0] + x, meeting.point[1] + y, meeting.point[2] + z)
    soft = a.body.soft or b.body.soft
    names = (a.body.id, a.feature, b.body.id, b.feature)
    return Hit(meeting.s, *names, point, meeting.normal, soft, meeting.graze)


def in_order(hits: list[Hit]) -> tuple[Hit, ...]:
    """One hit for each pair of features, by path, up to the first hard one and what is as near."""
    first: dict[tuple[str, str, str, str], Hit] = {}
    for hit in hits:
        known = first.get(hit[1:5])
        if known is None or _rank(hit) < _rank(known):
            first[hit[1:5]] = hit
    limit = min((hit.s for hit in hits if not (hit.soft or hit.graze)), default=math.inf)
    return tuple(sorted((hit for hit in first.values() if hit.s <= limit + TOUCH_MM), key=_order))


def _rank(hit: Hit) -> tuple[bool, float]:
    # A real contact of a feature says more than a graze of the same feature before it.
    return hit.graze, hit.s


def _order(hit: Hit) -> tuple[float, str, str, str, str]:
    return (hit.s, hit.moving_body, hit.moving_feature, hit.other_body, hit.other_feature)


def _check_line(direction: Vector, length: float) -> None:
    x, y, z = direction
    if not abs(x * x + y * y + z * z - 1.0) < 1e-9:
        raise InputError(f"direction {direction!r} is no unit vector", key="direction")
    if not 0.0 <= length < math.inf:
        raise InputError(f"length is {length!r}; expected mm, 0 or more", key="length")


Candidate = tuple[float, Piece, Piece, Vector, Vector]


def _candidates(scene: Scene, q: Vector, direction: Vector, length: float) -> list[Candidate]:
    """Pairs whose swept bounds meet, by the path at which the bounds do."""
    found: list[Candidate] = []
    links = list(scene.links().items())
    chain = scene.chain
    for i, (link_a, group_a) in enumerate(links):
        ax, ay, az = chain.displacement(link_a, q)
        for link_b, group_b in links[i + 1 :]:
            w = chain.relative(link_a, link_b, direction)
            if w == (0.0, 0.0, 0.0):
                continue
            bx, by, bz = chain.displacement(link_b, q)
            start = (ax - bx, ay - by, az - bz)
            _sift(scene, group_a, group_b, start, w, length, found)
    found.sort(key=_path)
    return found


def _path(candidate: Candidate) -> float:
    return candidate[0]


def _sift(
    scene: Scene,
    group_a: LinkPieces,
    group_b: LinkPieces,
    start: Vector,
    w: Vector,
    length: float,
    found: list[Candidate],
) -> None:
    reach = (w[0] * length, w[1] * length, w[2] * length)
    low, high = swept(group_a.low, group_a.high, start, reach)
    others = _inside(group_b, low, high)
    if len(others) >= ARRAY_PAYS_FROM:
        # A slanting line fills its box badly: of 1000 bodies some 200 stand in it, 20 on its way.
        box_a = (group_a.low, group_a.high)
        others = [
            b for b in others if bounds_meet(*box_a, b.low, b.high, start, w, length) is not None
        ]
    if not others:
        return
    # The sieve works both ways: a few bodies of B left, then the many of A against their bounds.
    pieces = group_a.pieces
    if len(pieces) >= ARRAY_PAYS_FROM:
        low, high = joined(others)
        back = (-reach[0], -reach[1], -reach[2])
        low, high = swept(low, high, (-start[0], -start[1], -start[2]), back)
        pieces = _inside(group_a, low, high)
    for a in pieces:
        for b in others:
            s = bounds_meet(a.low, a.high, b.low, b.high, start, w, length)
            if s is not None and not scene.ignored(a.body.id, b.body.id):
                found.append((s, a, b, start, w))


def _inside(group: LinkPieces, low: Vector, high: Vector) -> list[Piece]:
    if len(group.pieces) < ARRAY_PAYS_FROM:
        return [
            p
            for p in group.pieces
            if p.low[0] <= high[0]
            and low[0] <= p.high[0]
            and p.low[1] <= high[1]
            and low[1] <= p.high[1]
            and p.low[2] <= high[2]
            and low[2] <= p.high[2]
        ]
    meets = ((group.lows <= high) & (group.highs >= low)).all(axis=1)
    return [group.pieces[int(k)] for k in np.flatnonzero(meets)]


class ContactCache:
    """Remembers ``first_contacts`` by what the scene holds, where the line starts and goes.

    Bounded: the answers used longest ago are dropped past ``size``. A twin built anew from the
    same scenario finds the answers of the one before.
    """

    def __init__(self, size: int = 4096) -> None:
        if size < 1:
            raise InputError(f"size is {size!r}; expected 1 or more", key="size")
        self.size = size
        self.found = 0
        self.missed = 0
        self._answers: OrderedDict[object, tuple[Hit, ...]] = OrderedDict()

    def first_contacts(
        self, scene: Scene, q: Vector, direction: Vector, length: float
    ) -> tuple[Hit, ...]:
        """The same answer as the function of this name, from memory where it was asked before."""
        key = (scene.content_key, q, direction, length)
        answers = self._answers
        answer = answers.get(key)
        if answer is not None:
            answers.move_to_end(key)
            self.found += 1
            return answer
        answer = answers[key] = first_contacts(scene, q, direction, length)
        self.missed += 1
        if len(answers) > self.size:
            answers.popitem(last=False)
        return answer
