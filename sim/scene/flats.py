"""Exact contact of upright solids with flat ends: blocks, round bars and rings, any direction.

Two such solids meet while their heights overlap *and* their footprints overlap. Seen from B, the
centre of A moves along a line; the footprints overlap while it is inside B's footprint widened by
A's (corners, with a rounding around them). A ring's bore takes back the stretch in which the other
footprint lies wholly inside it. Every end of every stretch is a root in closed form.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from drytouch.sim.scene.pieces import Upright
from drytouch.sim.scene.shapes import Vector

Flat = tuple[float, float]
# Corners, counter-clockwise, and the rounding around them, mm.
Outline = tuple[tuple[Flat, ...], float]


class Stretch(NamedTuple):
    """Where along the line two solids overlap: from, to (mm), outward normal of B at the start."""

    begin: float
    end: float
    normal: Vector


def widened(a: Upright, b: Upright) -> Outline:
    """{b - a}: the footprint that the middle of A must stay out of."""
    radius = a.radius + b.radius
    turned = tuple((-x, -y) for x, y in a.corners)
    if len(turned) == 1:
        (ax, ay), others = turned[0], b.corners
        return tuple((x + ax, y + ay) for x, y in others), radius
    if len(b.corners) == 1:
        bx, by = b.corners[0]
        return tuple((x + bx, y + by) for x, y in turned), radius
    return _merged(turned, b.corners), radius


def _merged(p: tuple[Flat, ...], q: tuple[Flat, ...]) -> tuple[Flat, ...]:
    """Sum of two convex outlines: walk both by the direction of their edges."""
    p, q = _from_lowest(p), _from_lowest(q)
    i = j = 0
    corners: list[Flat] = []
    while i < len(p) or j < len(q):
        px, py = p[i % len(p)]
        qx, qy = q[j % len(q)]
        corners.append((px + qx, py + qy))
        p2, q2 = p[(i + 1) % len(p)], q[(j + 1) % len(q)]
        turn = (p2[0] - px) * (q2[1] - qy) - (p2[1] - py) * (q2[0] - qx)
        step_p = i < len(p) and (j >= len(q) or turn >= 0.0)
        step_q = j < len(q) and (i >= len(p) or turn <= 0.0)
        i, j = i + step_p, j + step_q
    return tuple(corners)


def _from_lowest(corners: tuple[Flat, ...]) -> tuple[Flat, ...]:
    first = min(range(len(corners)), key=lambda k: (corners[k][1], corners[k][0]))
    return corners[first:] + corners[:first]


def overlap(
    a: Upright,
    b: Upright,
    outline: Outline,
    start: Vector,
    w: Vector,
    grow: float,
) -> Stretch | None:
    """The first stretch after 0 (or around it) in which A and B overlap, both grown by ``grow``.

    ``start``: A's shift, mm; ``w``: A's direction. For solids without a hole there is only one
    stretch, and it may lie wholly behind the start.
    """
    heights = _heights(a, b, start[2], w[2], grow)
    if heights is None:
        return None
    corners, radius = outline
    flat = _outline_stretch(corners, radius, start, w, grow)
    if flat is None:
        return None
    first = heights if heights.begin >= flat.begin else flat
    end = min(heights.end, flat.end)
    if first.begin >= end:
        return None
    stretch = Stretch(first.begin, end, first.normal)
    if not (a.hole or b.hole):
        return stretch
    return _without_bore(stretch, _bore_stretch(a, b, start, w, grow))


def _heights(a: Upright, b: Upright, z: float, wz: float, grow: float) -> Stretch | None:
    low = b.low - a.high - grow - z
    high = b.high - a.low + grow - z
    if wz == 0.0:
        inside = low < 0.0 < high
        return Stretch(-math.inf, math.inf, (0.0, 0.0, 0.0)) if inside else None
    if wz > 0.0:
        return Stretch(low / wz, high / wz, (0.0, 0.0, -1.0))
    return Stretch(high / wz, low / wz, (0.0, 0.0, 1.0))


def _outline_stretch(
    corners: tuple[Flat, ...], radius: float, start: Vector, w: Vector, grow: float
) -> Stretch | None:
    if radius:
        return _rounded_stretch(corners, radius + grow, start, w)
    return _sharp_stretch(corners, grow, start, w)


def _sharp_stretch(
    corners: tuple[Flat, ...], grow: float, start: Vector, w: Vector
) -> Stretch | None:
    """Clip the line by every edge of a convex outline (Cyrus and Beck 1978)."""
    px, py, wx, wy = start[0], start[1], w[0], w[1]
    begin, end, normal = -math.inf, math.inf, (0.0, 0.0, 0.0)
    x1, y1 = corners[-1]
    for x2, y2 in corners:
        size = math.hypot(x2 - x1, y2 - y1)
        if size > 0.0:
            nx, ny = (y2 - y1) / size, (x1 - x2) / size
            gap = nx * (px - x1) + ny * (py - y1) - grow
            rate = nx * wx + ny * wy
            if rate == 0.0:
                if gap >= 0.0:
                    return None
            elif rate < 0.0:
                if -gap / rate > begin:
                    begin, normal = -gap / rate, (nx, ny, 0.0)
            else:
                end = min(end, -gap / rate)
        x1, y1 = x2, y2
    return Stretch(begin, end, normal) if begin < end else None


def _rounded_stretch(
    corners: tuple[Flat, ...], radius: float, start: Vector, w: Vector
) -> Stretch | None:
    """Clip the line by a convex outline with a rounding around it: its edges and corner discs."""
    px, py, wx, wy = start[0], start[1], w[0], w[1]
    square = wx * wx + wy * wy
    if square == 0.0:
        return _standing(corners, radius, px, py)
    begin, end, normal = math.inf, -math.inf, (0.0, 0.0, 0.0)
    x1, y1 = corners[-1]
    for x2, y2 in corners:
        # The disc around this corner.
        dx, dy = px - x2, py - y2
        half = (dx * wx + dy * wy) / square
        aside = (dx * wy - dy * wx) ** 2 / square
        if aside < radius * radius:
            reach = math.sqrt((radius * radius - aside) / square)
            if -half - reach < begin:
                begin = -half - reach
                normal = ((dx + begin * wx) / radius, (dy + begin * wy) / radius, 0.0)
            end = max(end, -half + reach)
        # The edge that leads to this corner, moved out by the rounding.
        ex, ey = x2 - x1, y2 - y1
        size = math.hypot(ex, ey)
        if size > 0.0:
            nx, ny = ey / size, -ex / size
            rate = nx * wx + ny * wy
            if rate != 0.0:
                t = (radius - nx * (px - x1) - ny * (py - y1)) / rate
                along = ((px + t * wx - x1) * ex + (py + t * wy - y1) * ey) / size
                if 0.0 <= along <= size:
                    if rate < 0.0 and t < begin:
                        begin, normal = t, (nx, ny, 0.0)
                    elif rate > 0.0:
                        end = max(end, t)
        x1, y1 = x2, y2
    return Stretch(begin, end, normal) if begin < end else None


def _standing(corners: tuple[Flat, ...], radius: float, px: float, py: float) -> Stretch | None:
    inside = outline_distance(corners, px, py)[0] < radius
    return Stretch(-math.inf, math.inf, (0.0, 0.0, 0.0)) if inside else None


def outline_distance(corners: tuple[Flat, ...], px: float, py: float) -> tuple[float, Flat]:
    """Distance from a point to a sharp outline (negative inside), mm, and the outward direction."""
    if len(corners) == 1:
        dx, dy = px - corners[0][0], py - corners[0][1]
        size = math.hypot(dx, dy)
        return size, (dx / size, dy / size) if size else (1.0, 0.0)
    deepest, direction = -math.inf, (1.0, 0.0)
    nearest, towards = math.inf, (1.0, 0.0)
    x1, y1 = corners[-1]
    for x2, y2 in corners:
        ex, ey = x2 - x1, y2 - y1
        square = ex * ex + ey * ey
        if square > 0.0:
            size = math.sqrt(square)
            nx, ny = ey / size, -ex / size
            gap = nx * (px - x1) + ny * (py - y1)
            if gap > deepest:
                deepest, direction = gap, (nx, ny)
            share = min(1.0, max(0.0, ((px - x1) * ex + (py - y1) * ey) / square))
            dx, dy = px - x1 - share * ex, py - y1 - share * ey
            away = math.hypot(dx, dy)
            if away < nearest:
                nearest = away
                towards = (dx / away, dy / away) if away > 0.0 else (nx, ny)
        x1, y1 = x2, y2
    return (deepest, direction) if deepest <= 0.0 else (nearest, towards)


def _bore_stretch(
    a: Upright, b: Upright, start: Vector, w: Vector, grow: float
) -> tuple[float, float, Vector] | None:
    """Where one footprint lies wholly in the other's bore: from, to, B's normal at the end."""
    if a.hole:
        stretch = _held(b, a, (-start[0], -start[1]), (-w[0], -w[1]), grow)
        if stretch is not None:
            begin, end, (nx, ny) = stretch
            return begin, end, (nx, ny, 0.0)
    if b.hole:
        stretch = _held(a, b, (start[0], start[1]), (w[0], w[1]), grow)
        if stretch is not None:
            begin, end, (nx, ny) = stretch
            return begin, end, (-nx, -ny, 0.0)
    return None


def _held(
    inner: Upright, ring: Upright, shift: Flat, w: Flat, grow: float
) -> tuple[float, float, Flat] | None:
    """Where ``inner``, shifted and moving by ``w``, is inside the bore; direction of the end."""
    room = ring.hole - inner.radius - grow
    if room < 0.0:
        return None
    cx, cy = ring.corners[0]
    square = w[0] * w[0] + w[1] * w[1]
    begin, end, direction = -math.inf, math.inf, (0.0, 0.0)
    for x, y in inner.corners:
        dx, dy = x + shift[0] - cx, y + shift[1] - cy
        if square == 0.0:
            if dx * dx + dy * dy > room * room:
                return None
            continue
        half = (dx * w[0] + dy * w[1]) / square
        aside = (dx * w[1] - dy * w[0]) ** 2 / square
        if aside > room * room:
            return None
        reach = math.sqrt((room * room - aside) / square)
        begin = max(begin, -half - reach)
        if -half + reach < end:
            end = -half + reach
            ox, oy = dx + end * w[0], dy + end * w[1]
            size = math.hypot(ox, oy)
            direction = (ox / size, oy / size) if size > 0.0 else (w[0], w[1])
    return (begin, end, direction) if begin <= end else None


def _without_bore(stretch: Stretch, bore: tuple[float, float, Vector] | None) -> Stretch | None:
    if bore is None:
        return stretch
    begin, end, normal = bore
    before = Stretch(stretch.begin, min(stretch.end, begin), stretch.normal)
    after = Stretch(max(stretch.begin, end), stretch.end, normal)
    if end <= stretch.begin:
        after = stretch
    if before.begin < before.end and before.end > 0.0:
        return before
    if after.begin < after.end:
        return after
    return None
