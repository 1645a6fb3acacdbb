"""Labels beside the subject, each with a leader line to its point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from drytouch.sim.scene.shapes import Vector
from drytouch.viz import look
from drytouch.viz.belief import Believed
from drytouch.viz.ink import Ink, width
from drytouch.viz.meshes import Solid
from drytouch.viz.stage import Stage
from drytouch.viz.view import Place, View

TOUCHING_MM = 0.005
"""Less would read as "0.00 mm away" beside parts that touch."""

NAMED = (
    *("face", "lug", "tip", "edge", "holder"),
    *("pad", "bolt", "block", "stock", "setter", "fixture"),
)
"""What gets a name when it is in the picture, most telling first."""


class Callout(NamedTuple):
    """A label's lines of text, the point (mm) that it names, and whether it is the main one."""

    lines: tuple[str, ...]
    point: Vector
    main: bool = False
    belief: bool = False


def callouts_for(
    solids: Sequence[Solid],
    place: Place,
    view: View,
    depth_mm: float,
    budget: str,
    believed: Sequence[Believed] = (),
) -> list[Callout]:
    """Names for what meets, for what stands close by, and for where things are taken to be."""
    found: list[Callout] = []
    for solid, label in believed:
        x, y = _towards(solid, view)
        z = solid.bounds[4 if solid.kind == "tool" else 5]
        found.append(Callout((label,), (x, y, z), belief=True))
    if place.carried is not None:
        found.append(_carried(place, view))
    if place.support is not None:
        lines = [look.LABELS[place.support.look]]
        if depth_mm > TOUCHING_MM:
            lines.append(f"pressed {depth_mm:.2f} mm")
            lines += [budget] if budget else []
        point = _under_wide(place, view) or _top(place.support, view)
        found.append(Callout(tuple(lines), point, depth_mm > TOUCHING_MM))
    named = {look.LABELS[part.look] for part in (place.carried, place.support) if part}
    for key in NAMED:
        if len(found) >= 6:
            break
        # The nearest to the eye of its kind: the others may hide behind it.
        candidates = [s for s in solids if s.look == key]
        if not candidates or look.LABELS[key] in named:
            continue
        solid = min(candidates, key=lambda s: math.dist(s.middle, view.eye))
        point = _low(solid, view) if solid.kind in ("spindle", "tool") else _side(solid, view)
        lines = [look.LABELS[key]]
        if key == "face" and place.support is not None and place.carried is not None:
            gap = solid.bounds[4] - place.support.bounds[5]
            if place.carried.look == "lug" and gap > TOUCHING_MM:
                lines.append(f"still {gap:.2f} mm above")
        found.append(Callout(tuple(lines), point))
        named.add(look.LABELS[key])
    return found


def hand(place: Place, view: View, where: str) -> Callout:
    """Where a hand is in danger; ``where``: in the finding's words, "at the pad"."""
    solid = place.support or place.carried
    b = None if solid is None else solid.bounds
    x, y, _ = view.focus if solid is None else solid.middle
    point = view.focus if b is None else (x + 30.0, y, b[5] + 22.0)
    return Callout(("a hand", *((where,) if where else ())), point, main=True)


def _carried(place: Place, view: View) -> Callout:
    assert place.carried is not None
    lines = [look.LABELS[place.carried.look]]
    if place.support is not None and place.gap_mm > TOUCHING_MM:
        lines.append(f"{place.gap_mm:.2f} mm away")
    return Callout(tuple(lines), _low(place.carried, view), place.gap_mm <= TOUCHING_MM)


def _towards(solid: Solid, view: View) -> tuple[float, float]:
    """The point of the box's plan that looks at the eye, a little inside its rim."""
    b = solid.bounds
    x, y, _ = solid.middle
    dx, dy = view.eye[0] - x, view.eye[1] - y
    length = math.hypot(dx, dy) or 1.0
    return x + dx / length * (b[1] - b[0]) * 0.47, y + dy / length * (b[3] - b[2]) * 0.47


def _low(solid: Solid, view: View) -> Vector:
    x, y = _towards(solid, view)
    b = solid.bounds
    return x, y, b[4] + min(0.25 * (b[5] - b[4]), 0.1 * view.half_height_mm)


def _top(solid: Solid, view: View) -> Vector:
    x, y = _towards(solid, view)
    b = solid.bounds
    return x, y, b[5] - min(0.3 * (b[5] - b[4]), 0.06 * view.half_height_mm)


def _under_wide(place: Place, view: View) -> Vector | None:
    """Half-way down the support, where what stands on it overhangs and hides its rim."""
    if place.carried is None or place.support is None:
        return None
    c, s = place.carried.bounds, place.support.bounds
    if c[1] - c[0] <= s[1] - s[0]:
        return None
    x, y = _towards(place.support, view)
    return x, y, s[5] - min(0.5 * (s[5] - s[4]), 0.1 * view.half_height_mm)


def _side(solid: Solid, view: View) -> Vector:
    x, y = _towards(solid, view)
    b = solid.bounds
    return x, y, b[5] - min(0.5 * (b[5] - b[4]), 0.14 * view.half_height_mm)


def draw_callouts(
    ink: Ink, stage: Stage, callouts: Sequence[Callout], scale: float, colour: str, card: float
) -> None:
    """Labels in a column at each side of the 3D picture, ordered so that leaders don't cross.

    ``colour``: of the main labels; ``card``: pixels kept free at the lower left for the enlarged
    number.
    """
    size = 20.0 * scale
    edge = 14.0 * scale
    room = stage.size
    points = [(callout, *stage.project(callout.point)) for callout in callouts]
    foot = room[1] - 44 * scale
    inside = [p for p in points if 0 <= p[1] <= room[0] and 0 <= p[2] <= foot]
    by_x = sorted(inside, key=lambda p: p[1])
    left, right = by_x[: len(by_x) // 2], by_x[len(by_x) // 2 :]
    for column, at_left in ((left, True), (right, False)):
        boxes = _stack(
            sorted(column, key=lambda p: p[2]), size, foot - (card if at_left else 0.0), scale
        )
        for (callout, x, y), (top, bottom) in boxes:
            wide = max(width(line, size, True) for line in callout.lines) + 20 * scale
            x0 = edge if at_left else room[0] - edge - wide
            pen = look.BELIEF if callout.belief else colour if callout.main else look.INK
            start = (x0 + wide if at_left else x0, (top + bottom) / 2)
            ink.line([start, (x, y)], "#ffffff", 4.6 * scale)
            ink.line([start, (x, y)], pen, 2.0 * scale)
            ink.dot(x, y, 5.5 * scale, pen, "#ffffff")
            box = (x0, top, x0 + wide, bottom)
            ink.rectangle(box, look.PAPER, pen, 6 * scale, max(round(2 * scale), 1))
            for index, line in enumerate(callout.lines):
                base = top + size * 1.22 + index * size * 1.25
                ink.text(x0 + 10 * scale, base, line, size, pen, bold=True)


def _stack(
    column: list[tuple[Callout, float, float]], size: float, height: float, scale: float
) -> list[tuple[tuple[Callout, float, float], tuple[float, float]]]:
    """Each label near its point's height, pushed down where it would cover the one above."""
    gap = 12 * scale
    low, high = 14 * scale, height - 10 * scale
    tall = [(0.5 + 1.25 * len(item[0].lines)) * size for item in column]
    tops: list[float] = []
    for item, h in zip(column, tall, strict=True):
        wish = max(item[2] - h / 2, low)
        tops.append(max(wish, tops[-1] + tall[len(tops) - 1] + gap) if tops else wish)
    limit = high
    for index in reversed(range(len(tops))):
        tops[index] = min(tops[index], limit - tall[index])
        limit = tops[index] - gap
    return [(item, (top, top + h)) for item, top, h in zip(column, tops, tall, strict=True)]
