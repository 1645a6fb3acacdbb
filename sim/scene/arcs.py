"""First contact along an arc or a helix, without chords.

Between two convex solids any plane that parts them stays good until the moving one has bent its
way to it. So: find parting planes where the solid is now, follow the arc as far as the best of
them allows, and look again; the planes come from casts along the tangent, from the solids' own
axes and from their nearest points. Each stride is safe, and near a contact they shrink like
Newton's steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from drytouch.sim.errors import InputError
from drytouch.sim.scene.bounds import SIEVE_MARGIN_MM
from drytouch.sim.scene.cast import Miss, cast
from drytouch.sim.scene.cells import Cell, all_cells, cells_of
from drytouch.sim.scene.contact import Hit, hit_of, in_order
from drytouch.sim.scene.distance import nearest_normal
from drytouch.sim.scene.pairs import (
    Meeting,
    Solid,
    contact_point,
    opposite,
    parted,
    pressed,
    separation,
    size_of,
    touching,
)
from drytouch.sim.scene.pieces import TOUCH_MM, Piece
from drytouch.sim.scene.scene import Scene
from drytouch.sim.scene.shapes import Ring, Vector

Numbers = npt.NDArray[np.float64]
Plane = Literal["xy", "zx", "yz"]
# First, second and third axis of each plane: right-handed, as G17, G18 and G19 have them.
AXES = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}
# A programmed start may be off its circle by rounding in the file; more is a wrong centre.
START_OFF_CIRCLE_MM = 0.01
# A ring's bore is cut into sectors this exact: a face that meets something by its bore on an arc
# is rare, and 1 um is what meshes promise too.
ARC_SAGITTA_MM = 1e-3
# What rounding leaves of a gap at 1000 mm from the origin.
ROUNDING_MM = 1e-11
# Hollow solids are followed this far at a time: 6 mm on a circle of 60 mm.
HOLLOW_STEP_RAD = 0.1
# A turn that is no progress: 1e-8 mm on a circle of 10 mm.
STALLED_RAD = 1e-9
# Strides on a full circle that slides along a body all the way, a touch's bite each, 300 mm radius.
MAXIMUM_STRIDES = 100_000


class Arc(NamedTuple):
    """An arc of the axes: start mm, radius mm, start angle, turn (+1, -1), axes, rise mm/rad."""

    q: Vector
    radius: float
    start_angle: float
    turn: float
    axes: tuple[int, int, int]
    rise: float

    def moved(self, angle: float) -> Vector:
        """Way from the start after ``angle`` radians, mm."""
        begin, now = self.start_angle, self.start_angle + self.turn * angle
        out = [0.0, 0.0, 0.0]
        out[self.axes[0]] = self.radius * (math.cos(now) - math.cos(begin))
        out[self.axes[1]] = self.radius * (math.sin(now) - math.sin(begin))
        out[self.axes[2]] = self.rise * angle
        return (out[0], out[1], out[2])

    def tangent(self, angle: float) -> Vector:
        """Motion per radian, mm."""
        now = self.start_angle + self.turn * angle
        out = [0.0, 0.0, 0.0]
        out[self.axes[0]] = -self.turn * self.radius * math.sin(now)
        out[self.axes[1]] = self.turn * self.radius * math.cos(now)
        out[self.axes[2]] = self.rise
        return (out[0], out[1], out[2])

    def bounds(self, begin: float, end: float) -> tuple[Vector, Vector]:
        """Box around the ways from the start to between two angles turned, mm."""
        quarter = math.pi / 2
        lowest, highest = sorted(self.start_angle + self.turn * angle for angle in (begin, end))
        passed = range(math.ceil(lowest / quarter), math.floor(highest / quarter) + 1)
        angles = [begin, end, *(abs(k * quarter - self.start_angle) for k in passed)]
        ways = [self.moved(angle) for angle in angles]
        return (
            (min(p[0] for p in ways), min(p[1] for p in ways), min(p[2] for p in ways)),
            (max(p[0] for p in ways), max(p[1] for p in ways), max(p[2] for p in ways)),
        )


def first_contacts_arc(
    scene: Scene,
    q: Vector,
    centre: Vector,
    radius: float,
    start_angle: float,
    sweep: float,
    plane: Plane = "xy",
    helix_rise_per_rad: float = 0.0,
) -> tuple[Hit, ...]:
    """Every contact on an arc from axis position ``q``, in order, up to the first hard one.

    ``centre``: mm, its third coordinate does not matter; ``start_angle``, ``sweep``: radians,
    positive counter-clockwise seen from the plane's third axis ("zx": from z to x);
    ``helix_rise_per_rad``: mm along the third axis per radian turned, whichever way it turns.
    ``Hit.s`` is arc length, mm, the rise included. As exact as along a line but for a ring's bore
    (1 um); where a body slides along an arc in touch, each stride costs a tenth of a millisecond.
    """
    arc = _checked(q, centre, radius, start_angle, sweep, plane, helix_rise_per_rad)
    per_rad = math.hypot(radius, helix_rise_per_rad)
    found = []
    for a, b, start, factors in _candidates(scene, arc, abs(sweep)):
        meeting = _first_of_cells(a, b, start, factors, arc, abs(sweep))
        if meeting is not None:
            x, y, z = arc.moved(meeting.s)
            then = (q[0] + x, q[1] + y, q[2] + z)
            found.append(hit_of(scene, then, a, b, meeting._replace(s=meeting.s * per_rad)))
    return in_order(found)


def _checked(
    q: Vector,
    centre: Vector,
    radius: float,
    start_angle: float,
    sweep: float,
    plane: str,
    rise: float,
) -> Arc:
    if plane not in AXES:
        raise InputError(f"plane is {plane!r}; expected one of {', '.join(AXES)}", key="plane")
    if not 0.0 < radius < math.inf:
        raise InputError(f"radius is {radius!r}; expected mm above 0", key="radius")
    axes = AXES[plane]
    off = math.hypot(
        centre[axes[0]] + radius * math.cos(start_angle) - q[axes[0]],
        centre[axes[1]] + radius * math.sin(start_angle) - q[axes[1]],
    )
    if not off <= START_OFF_CIRCLE_MM:
        raise InputError(
            f"the arc starts {off:.4f} mm from the axis position {q!r}",
            key="centre",
            fix="give the centre, radius and start angle that lead through the start",
        )
    return Arc(q, radius, start_angle, 1.0 if sweep >= 0.0 else -1.0, axes, rise)


ArcCandidate = tuple[Piece, Piece, Vector, Vector]


def _candidates(scene: Scene, arc: Arc, sweep: float) -> list[ArcCandidate]:
    found: list[ArcCandidate] = []
    links = list(scene.links().items())
    for i, (link_a, group_a) in enumerate(links):
        for link_b, group_b in links[i + 1 :]:
            factors = scene.chain.relative(link_a, link_b, (1.0, 1.0, 1.0))
            if factors == (0.0, 0.0, 0.0):
                continue
            da, db = (scene.chain.displacement(link, arc.q) for link in (link_a, link_b))
            start = (da[0] - db[0], da[1] - db[1], da[2] - db[2])
            shift_low, shift_high = _shifts(start, factors, arc, 0.0, sweep)
            for a in group_a.pieces:
                meets = (group_b.lows <= a.high + shift_high) & (group_b.highs >= a.low + shift_low)
                for k in np.flatnonzero(meets.all(axis=1)):
                    b = group_b.pieces[int(k)]
                    if not scene.ignored(a.body.id, b.body.id):
                        found.append((a, b, start, factors))
    return found


def _first_of_cells(
    a: Piece, b: Piece, start: Vector, factors: Vector, arc: Arc, sweep: float
) -> Meeting | None:
    if not (a.hollow or b.hollow):
        return Follower(a, b, start, factors, arc).first(sweep)
    rings = [isinstance(piece.part.shape, Ring) for piece in (a, b)]
    mine, others = (
        all_cells(piece, ARC_SAGITTA_MM) if ring else None
        for piece, ring in zip((a, b), rings, strict=True)
    )
    count = math.ceil(sweep / HOLLOW_STEP_RAD)
    graze: Meeting | None = None
    for k in range(count):
        # A short way sweeps a small box: of a fine mesh only the near triangles are asked.
        begin, end = sweep * k / count, sweep * (k + 1) / count
        low, high = _shifts(start, factors, arc, begin, end)
        best: Meeting | None = None
        near_a = mine or cells_of(a, _corner(b.low - high), _corner(b.high - low))
        near_b = others or cells_of(b, _corner(a.low + low), _corner(a.high + high))
        for cell_a, cell_b in _meeting_boxes(near_a, near_b, low, high):
            until = end if best is None or best.graze else best.s
            new = Follower(cell_a, cell_b, start, factors, arc).first(until, begin)
            if new is not None and (best is None or (new.graze, new.s) < (best.graze, best.s)):
                best = new
        if best is not None and not best.graze:
            return best
        graze = graze or best
    return None if graze is not None and touching(a, b, start) else graze


def _meeting_boxes(
    mine: list[Cell], others: list[Cell], low: Numbers, high: Numbers
) -> Iterator[tuple[Cell, Cell]]:
    if not others:
        return
    lows, highs = (np.array([getattr(cell, side) for cell in others]) for side in ("low", "high"))
    for cell in mine:
        meets = (lows <= cell.high + high) & (highs >= cell.low + low)
        for k in np.flatnonzero(meets.all(axis=1)):
            yield cell, others[int(k)]


def _corner(numbers: Numbers) -> Vector:
    return (float(numbers[0]), float(numbers[1]), float(numbers[2]))


def _shifts(
    start: Vector, factors: Vector, arc: Arc, begin: float, end: float
) -> tuple[Numbers, Numbers]:
    """The least and the largest shift of A along the arc, mm, a margin wider."""
    ends = np.array([np.multiply(factors, corner) for corner in arc.bounds(begin, end)])
    return (
        start + ends.min(axis=0) - SIEVE_MARGIN_MM,
        start + ends.max(axis=0) + SIEVE_MARGIN_MM,
    )


class Follower:
    """Two convex solids, one of which follows an arc. Angles are radians turned from the start."""

    def __init__(self, a: Solid, b: Solid, start: Vector, factors: Vector, arc: Arc) -> None:
        self.a, self.b, self.start, self.factors, self.arc = a, b, start, factors, arc
        self.smaller = parted(a, b)
        # A turn that bends away from a plane by one touch.
        self.bite = math.sqrt(2.0 * TOUCH_MM / arc.radius)

    def first(self, sweep: float, begin: float = 0.0) -> Meeting | None:
        """The first contact, its ``s`` being the angle; a graze only when nothing else comes."""
        angle, graze = begin, None
        for _ in range(MAXIMUM_STRIDES):
            if angle >= sweep - STALLED_RAD:
                return graze
            stride, normal, gap = self._best_stride(angle, sweep)
            if gap < -ROUNDING_MM and angle == 0.0:
                return pressed(self.a, self.b, self.start, self._motion(0.0), normal)
            if stride > STALLED_RAD:
                angle += stride
            elif gap < -ROUNDING_MM or self._inside(angle + self.bite):
                return self._met(angle, normal)
            else:
                if graze is None and not self._touching_at_start(normal):
                    graze = self._meeting(angle, normal, True)
                angle += self.bite
        return graze or self._meeting(angle, normal, True)

    def _at(self, angle: float) -> Vector:
        way, f, s = self.arc.moved(angle), self.factors, self.start
        return (s[0] + f[0] * way[0], s[1] + f[1] * way[1], s[2] + f[2] * way[2])

    def _motion(self, angle: float) -> Vector:
        way, f = self.arc.tangent(angle), self.factors
        return (f[0] * way[0], f[1] * way[1], f[2] * way[2])

    def _best_stride(self, angle: float, sweep: float) -> tuple[float, Vector, float]:
        """The longest safe turn, the plane that allows it, and the gap at it, mm."""
        at = self._at(angle)
        best = (-1.0, (0.0, 0.0, 1.0), -math.inf)
        for normal in self._planes(at, self._motion(angle)):
            gap = separation(*self.smaller, at, normal)
            if gap < -ROUNDING_MM:
                if best[0] < 0.0 and gap > best[2]:
                    best = (-1.0, normal, gap)
                continue
            stride = self._stride(normal, max(gap, 0.0), angle, sweep)
            if stride > best[0]:
                best = (stride, normal, gap)
        return best

    def _planes(self, at: Vector, motion: Vector) -> list[Vector]:
        """Normals from B to A of planes that may part them."""
        size = size_of(motion)
        normals = [n for axis in (*self.a.axes, *self.b.axes) for n in (axis, opposite(axis))]
        if size > 0.0:
            unit = (motion[0] / size, motion[1] / size, motion[2] / size)
            for way in (unit, opposite(unit)):
                found = cast(*self.smaller, at, way)
                normals.append(found.axis if isinstance(found, Miss) else found.normal)
        nearest = nearest_normal(self.a, self.b, at)
        if nearest is not None:
            normals.append(nearest)
        return normals

    def _stride(self, normal: Vector, gap: float, angle: float, sweep: float) -> float:
        """How far to turn until the gap at a plane is used up, from below, radians."""
        along = [normal[i] * self.factors[i] for i in self.arc.axes[:2]]
        bend = self.arc.radius * math.hypot(*along)
        turned = angle
        for _ in range(60):
            motion = self._motion(turned)
            rate = -(normal[0] * motion[0] + normal[1] * motion[1] + normal[2] * motion[2])
            if bend > 0.0:
                turned += (
                    2.0 * gap / (rate + math.sqrt(rate * rate + 2.0 * bend * gap))
                    if (rate >= 0.0 and gap > 0.0)
                    else (-rate + math.sqrt(rate * rate + 2.0 * bend * gap)) / bend
                )
            elif rate > 0.0:
                turned += gap / rate
            else:
                return sweep - angle
            if turned >= sweep:
                return sweep - angle
            gap = max(0.0, separation(*self.smaller, self._at(turned), normal))
            if gap <= ROUNDING_MM:
                break
        return turned - angle

    def _inside(self, angle: float) -> bool:
        at, motion = self._at(angle), self._motion(angle)
        size = size_of(motion)
        unit = (motion[0] / size, motion[1] / size, motion[2] / size)
        for way in (unit, opposite(unit)):
            found = cast(*self.smaller, at, way)
            if isinstance(found, Miss) or found.distance > 0.0:
                return False
        return True

    def _touching_at_start(self, normal: Vector) -> bool:
        return separation(self.a.support, self.b.support, self.start, normal) <= TOUCH_MM

    def _met(self, angle: float, normal: Vector) -> Meeting:
        """The contact at true size: back from where the smaller solid met, by Newton's steps."""
        for _ in range(60):
            depth = -separation(self.a.support, self.b.support, self._at(angle), normal)
            motion = self._motion(angle)
            rate = -(normal[0] * motion[0] + normal[1] * motion[1] + normal[2] * motion[2])
            if depth <= ROUNDING_MM or rate <= 0.0 or angle <= 0.0:
                break
            angle = max(0.0, angle - depth / rate)
        if angle <= 2.0 * self.bite and self._touching_at_start(normal):
            angle = 0.0
        return self._meeting(angle, normal, False)

    def _meeting(self, angle: float, normal: Vector, graze: bool) -> Meeting:
        point = contact_point(self.a, self.b, self._at(angle), normal)
        return Meeting(angle, normal, point, graze)
