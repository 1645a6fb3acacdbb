"""First contact of two pieces along a straight line: closed form where there is one, else a cast.

A touch that slides or leaves is no collision, so whether two pieces meet is decided with both a
touch (``TOUCH_MM``) smaller, and where they meet is computed at their true size. What comes within
a touch of another piece without pressing into it is a graze: it is told, and not a collision.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from drytouch.sim.scene.bounds import bounds_meet, swept
from drytouch.sim.scene.cast import Entry, Support, cast
from drytouch.sim.scene.cells import Cell, Queue, cells_of, entry_bound, halves
from drytouch.sim.scene.flats import Stretch, overlap, widened
from drytouch.sim.scene.gap import gap_between
from drytouch.sim.scene.pieces import TOUCH_MM, Piece
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Vector

# Slower than this, per mm of path, is sliding: 1 nm over a metre.
SLIDING_RATE = 1e-9
# Ways out of an overlap that are searched downhill, and steps of each search. On 300 random
# overlaps up to 0.5 mm deep, 20 random starts more found nothing better by 1e-7 mm.
STARTS, DOWNHILL_STEPS = 4, 20
# A step that gains less ends the search: a tenth of a touch.
DOWNHILL_GAIN_MM = 0.1 * TOUCH_MM


Solid = Piece | Cell


class Meeting(NamedTuple):
    """Path to the contact, mm; unit normal from B to A; point, mm, as B stands at q = 0; graze."""

    s: float
    normal: Vector
    point: Vector
    graze: bool


def meet(
    scene: Scene, a: Piece, b: Piece, start: Vector, w: Vector, length: float
) -> Meeting | None:
    """Where A, shifted by ``start`` mm and moving by ``w`` per mm of path, first meets B."""
    if a.upright is not None and b.upright is not None:
        return _meet_flats(scene, a, b, start, w, length)
    if a.hollow or b.hollow:
        return _meet_cells(a, b, start, w, length)
    return _meet_hulls(a, b, start, w, length)


def _meet_cells(a: Piece, b: Piece, start: Vector, w: Vector, length: float) -> Meeting | None:
    """First contact of hollow solids: cells with the earliest bound first, halved until exact."""
    size = size_of(w)
    unit = (w[0] / size, w[1] / size, w[2] / size)
    queue = Queue()
    for pair in _cell_pairs(a, b, start, w, length):
        queue.put(*pair)
    best: Meeting | None = None
    # A flat face meets thousands of cells at once: the first of them is enough.
    alike = 3.0 * TOUCH_MM
    while (
        taken := queue.take(length if best is None or best.graze else best.s - alike)
    ) is not None:
        s, cell_a, cell_b = taken
        finer = halves(cell_a, cell_b)
        if not finer:
            best = _sooner(best, _meet_hulls(cell_a, cell_b, start, w, length))
        for finer_a, finer_b in finer:
            bound = entry_bound(finer_a, finer_b, start, unit)
            if bound is not None and bound <= size * length:
                later = bound / size
                queue.put(later if later > s + alike else s, finer_a, finer_b)
    # Sliding from a touch runs from cell to cell: that is no graze of the next one.
    return None if best is not None and best.graze and touching(a, b, start) else best


def touching(a: Piece, b: Piece, start: Vector) -> bool:
    """Whether two pieces, A shifted by ``start``, are within a touch of each other or overlap."""
    still = (0.0, 0.0, 0.0)
    pairs = [(cell_a, cell_b) for _, cell_a, cell_b in _cell_pairs(a, b, start, still, 0.0)]
    while pairs:
        cell_a, cell_b = pairs.pop()
        found = gap_between(cell_a.support, cell_b.support, start)
        if found is None or found[0] <= TOUCH_MM:
            finer = halves(cell_a, cell_b)
            if not finer:
                return True
            pairs.extend(finer)
    return False


def _sooner(known: Meeting | None, new: Meeting | None) -> Meeting | None:
    if known is None or new is None:
        return known or new
    return min(known, new, key=lambda meeting: (meeting.graze, meeting.s))


def _cell_pairs(
    a: Piece, b: Piece, start: Vector, w: Vector, length: float
) -> list[tuple[float, Cell, Cell]]:
    reach = (w[0] * length, w[1] * length, w[2] * length)
    others = cells_of(b, *swept(a.low, a.high, start, reach))
    back = (-reach[0], -reach[1], -reach[2])
    mine = cells_of(a, *swept(b.low, b.high, (-start[0], -start[1], -start[2]), back))
    pairs = []
    for cell_a in mine:
        for cell_b in others:
            box_a, box_b = (cell_a.low, cell_a.high), (cell_b.low, cell_b.high)
            s = bounds_meet(*box_a, *box_b, start, w, length, TOUCH_MM)
            if s is not None:
                pairs.append((s, cell_a, cell_b))
    return pairs


def _meet_flats(
    scene: Scene, a: Piece, b: Piece, start: Vector, w: Vector, length: float
) -> Meeting | None:
    assert a.upright is not None
    assert b.upright is not None
    key = (id(a), id(b))
    outline = scene.pair_store.get(key)
    if outline is None:
        outline = scene.pair_store[key] = widened(a.upright, b.upright)
    inner = overlap(a.upright, b.upright, outline, start, w, -TOUCH_MM)
    if inner is not None and inner.end > 0.0:
        if inner.begin < 0.0:
            return pressed(a, b, start, w, inner.normal)
        nominal = overlap(a.upright, b.upright, outline, start, w, 0.0)
        stretch = nominal if nominal is not None else inner
        return _finish(a, b, start, w, length, stretch.begin, stretch.normal, False)
    outer = overlap(a.upright, b.upright, outline, start, w, TOUCH_MM)
    return _graze(a, b, start, w, length, outer)


def _graze(
    a: Solid, b: Solid, start: Vector, w: Vector, length: float, outer: Stretch | None
) -> Meeting | None:
    if outer is None or outer.begin <= 0.0:
        return None
    return _finish(a, b, start, w, length, outer.begin, outer.normal, True)


def _finish(
    a: Solid,
    b: Solid,
    start: Vector,
    w: Vector,
    length: float,
    s: float,
    normal: Vector,
    graze: bool,
) -> Meeting | None:
    rate = -(normal[0] * w[0] + normal[1] * w[1] + normal[2] * w[2])
    if s * rate <= TOUCH_MM:
        s = 0.0
    # Rounding must not lose a contact at the very end of a line that was meant to touch.
    if s * rate > length * rate + TOUCH_MM * 1e-3:
        return None
    s = min(s, length)
    at = (start[0] + s * w[0], start[1] + s * w[1], start[2] + s * w[2])
    return Meeting(s, normal, contact_point(a, b, at, normal), graze)


def contact_point(a: Solid, b: Solid, at: Vector, normal: Vector) -> Vector:
    """A point in the middle of where A (shifted by ``at``) and B touch, from their bounds."""
    middle = [
        (max(a.low[i] + at[i], b.low[i]) + min(a.high[i] + at[i], b.high[i])) / 2 for i in range(3)
    ]
    # A round side touches along a line that the bounds don't know.
    if normal[2] == 0.0:
        for piece, sign, shift in ((a, -1.0, at), (b, 1.0, (0.0, 0.0, 0.0))):
            upright = piece.upright
            if upright is not None and upright.radius and not upright.hole:
                (x, y), radius = upright.corners[0], sign * upright.radius
                return (
                    x + shift[0] + radius * normal[0],
                    y + shift[1] + radius * normal[1],
                    middle[2],
                )
    return (middle[0], middle[1], middle[2])


def separation(support_a: Support, support_b: Support, start: Vector, normal: Vector) -> float:
    """Gap between A (shifted by ``start``) and B along a unit normal from B to A, mm."""
    x, y, z = normal
    ax, ay, az = support_a(-x, -y, -z)
    bx, by, bz = support_b(x, y, z)
    return x * (ax + start[0] - bx) + y * (ay + start[1] - by) + z * (az + start[2] - bz)


def way_out(
    a: Solid, b: Solid, start: Vector, more: tuple[Vector, ...] = (), starts: int = STARTS
) -> Vector:
    """The normal from B to A along which two overlapping pieces part soonest.

    Searched from their own axes downhill, which finds the least depth of shallow overlaps.
    """
    ranked = []
    for axis in (*a.axes, *b.axes, *more):
        for normal in (axis, opposite(axis)):
            ranked.append((separation(a.support, b.support, start, normal), normal))
    ranked.sort(reverse=True)
    return max(_downhill(a, b, start, *known) for known in ranked[:starts])[1]


def _downhill(
    a: Solid, b: Solid, start: Vector, depth: float, normal: Vector
) -> tuple[float, Vector]:
    for _ in range(DOWNHILL_STEPS):
        # The wall through which A would leave along this normal is a nearer way out, or the same.
        wall = cast(a.support, b.support, start, opposite(normal))
        if not isinstance(wall, Entry):
            break
        better = separation(a.support, b.support, start, wall.normal)
        if better <= depth + DOWNHILL_GAIN_MM:
            break
        depth, normal = better, wall.normal
    return depth, normal


def pressed(a: Solid, b: Solid, start: Vector, w: Vector, entry: Vector) -> Meeting | None:
    """Two pieces overlap at the start: a contact at once if they go deeper, none if they part."""
    # Only the direction matters here, and it need not be exact: one search will do.
    normal = way_out(a, b, start, (entry,) if any(entry) else (), starts=1)
    if normal[0] * w[0] + normal[1] * w[1] + normal[2] * w[2] >= -SLIDING_RATE:
        return None
    return Meeting(0.0, normal, contact_point(a, b, start, normal), False)


def _meet_hulls(a: Solid, b: Solid, start: Vector, w: Vector, length: float) -> Meeting | None:
    size = math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
    unit = (w[0] / size, w[1] / size, w[2] / size)
    smaller = parted(a, b)
    found = cast(*smaller, start, unit)
    if not isinstance(found, Entry):
        return _graze_hulls(a, b, start, w, unit, length)
    normal = found.normal
    if found.distance < 0.0:
        back = cast(*smaller, start, opposite(unit))
        if not isinstance(back, Entry) or back.distance >= 0.0:
            return None
        return pressed(a, b, start, w, normal)
    rate = -(normal[0] * w[0] + normal[1] * w[1] + normal[2] * w[2])
    # The plane was found with one a touch smaller; its distance is read at their true size.
    s = separation(a.support, b.support, start, normal) / rate
    meeting = _finish(a, b, start, w, length, s, normal, False)
    return None if meeting is None else meeting._replace(point=found.point)


def _graze_hulls(
    a: Solid, b: Solid, start: Vector, w: Vector, unit: Vector, length: float
) -> Meeting | None:
    found = cast(a.support, b.support, start, unit)
    if not isinstance(found, Entry) or found.distance * (size_of(w)) < 0.0:
        return None
    s = found.distance / size_of(w)
    return _finish(a, b, start, w, length, s, found.normal, True)


def parted(a: Solid, b: Solid) -> tuple[Support, Support]:
    """Support functions of both, one of them a touch smaller: that whose smaller form is exact."""
    return (a.support, b.inset) if a.rough and not b.rough else (a.inset, b.support)


def size_of(w: Vector) -> float:
    """Length of a vector."""
    return math.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])


def opposite(w: Vector) -> Vector:
    """The vector turned round."""
    return (-w[0], -w[1], -w[2])
