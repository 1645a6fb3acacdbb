"""Where the camera stands: close to the place that matters, with nothing in between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from drytouch.sim.scene.shapes import Vector
from drytouch.viz.look import (
    PRESETS,
    PRESETS_OF_A_FACE,
    PRESETS_OF_A_PLACE,
    VIEW_ANGLE_DEG,
    WHOLE,
    Preset,
)
from drytouch.viz.meshes import Bounds, Solid

CARRIED = ("spindle", "tool")
SUPPORTS = ("pad", "block", "stock", "fixture", "setter", "table")
"""What a tip or face may come down on, most telling first."""

CODES_OF_PARTS = {"lug-strike": "lug"}
"""Findings that are about one part, whatever else may be as near."""

CODES_OF_THE_PAD = ("setter-moved", "hand-in-reach")

SEE_THROUGH = ("head", "machine", "table")
"""Never counted as in the way: drawn translucent, cut away or flat below everything."""

CUT_OPEN = ("face", "nose", "head", "holder", "shank")
"""What may be cut open; edges and lugs stay whole, they are the point."""

HALF_HEIGHT_MM = (34.0, 420.0)
"""Least and most of half the picture's height at the focus: a thin shank shows, a head fits."""


class Place(NamedTuple):
    """What meets, or nearly: the carried part and what is under or beside it."""

    carried: Solid | None
    support: Solid | None
    gap_mm: float


class View(NamedTuple):
    """A camera: focus and eye in mm, and half the picture's height at the focus in mm."""

    focus: Vector
    eye: Vector
    half_height_mm: float
    preset: Preset


def choose_place(solids: Sequence[Solid], code: str = "", where: str = "") -> Place:
    """The nearest pair of a carried part and a support; equal gaps go to the more telling one.

    ``code``: of the finding to show, which may say what to look at; ``where``: its figure of that
    name, "at the pad" and the like.
    """
    if code in CODES_OF_THE_PAD:
        # How far the tool is above it says nothing about where the setter stands, or a hand is.
        return Place(None, part_at(where, solids), 0.0)
    best: tuple[float, int, float, Solid, Solid] | None = None
    wanted = CODES_OF_PARTS.get(code)
    able = [s for s in solids if s.kind in CARRIED and s.look != "head"]
    for carried in [s for s in able if s.look == wanted] or able:
        for support in (s for s in solids if s.kind in SUPPORTS):
            if in_bore(support, carried):
                continue
            gap = box_gap(carried.bounds, support.bounds)
            # Half a millimetre of gap is worth less than showing the pad instead of its body.
            key = (round(gap * 2), SUPPORTS.index(support.kind), carried.bounds[4])
            if best is None or key < best[:3]:
                best = (*key, carried, support)
    if best is None:
        lowest = min(
            (s for s in solids if s.kind in CARRIED), key=lambda s: s.bounds[4], default=None
        )
        return Place(lowest, None, 0.0)
    return Place(best[3], best[4], box_gap(best[3].bounds, best[4].bounds))


PARTS_BY_WORD = {"block": "block", "stock": "stock", "vise": "fixture", "pad": "pad"}


def part_at(where: str, solids: Sequence[Solid]) -> Solid | None:
    """The part that the words name; the pad where they name none."""
    kind = next((kind for word, kind in PARTS_BY_WORD.items() if word in where), "pad")
    for wanted in (kind, "pad"):
        found = next((s for s in solids if s.kind == wanted), None)
        if found is not None:
            return found
    return None


def in_bore(support: Solid, carried: Solid) -> bool:
    """Whether a ring meets nothing there because all of the support is under its hole."""
    if carried.bore_mm <= 0.0:
        return False
    x, y, _ = carried.middle
    b = support.bounds
    # A round support reaches no further than its box's half width.
    reach = max(b[1] - b[0], b[3] - b[2]) / 2
    across = math.dist((x, y), support.middle[:2])
    return across + reach <= carried.bore_mm


def box_gap(a: Bounds, b: Bounds) -> float:
    """Distance of two boxes, mm; 0 when they touch or overlap."""
    gaps = (max(a[i] - b[i + 1], b[i] - a[i + 1], 0.0) for i in (0, 2, 4))
    return math.sqrt(sum(gap * gap for gap in gaps))


def choose_view(solids: Sequence[Solid], place: Place) -> View:
    """The first preset that nothing hides; else the least hidden one."""
    focus, half = _focus(place, solids)
    below = place.carried is not None and place.carried.look in ("face", "lug")
    presets = (*PRESETS_OF_A_FACE, *PRESETS) if below else PRESETS
    presets = PRESETS_OF_A_PLACE if place.carried is None else presets
    views = [_view(focus, half, preset) for preset in presets]
    hidden = [_hidden(view, solids, place) for view in views]
    return views[hidden.index(min(hidden))]


def _focus(place: Place, solids: Sequence[Solid]) -> tuple[Vector, float]:
    if place.carried is None:
        if place.support is None:
            return (0.0, 0.0, 0.0), HALF_HEIGHT_MM[1]
        b = place.support.bounds
        return place.support.middle, min(1.6 * max(b[1] - b[0], 25.0), HALF_HEIGHT_MM[1])
    c = place.carried.bounds
    s = c if place.support is None else place.support.bounds
    # Of a wide stock or a table only what is near matters.
    low = [max(s[i], c[i] - 40.0) for i in (0, 2)]
    high = [min(s[i + 1], c[i + 1] + 40.0) for i in (0, 2)]
    wide = max(high[0] - low[0], high[1] - low[1], c[1] - c[0], 12.0)
    gap = max(c[4] - s[5], 0.0)
    half = max(0.9 * wide + 0.3 * gap, 0.75 * gap)
    x, y = (c[0] + c[1]) / 2, (c[2] + c[3]) / 2
    if place.carried.look in ("lug", "edge"):
        # One lug or edge says little without the face or body that carries it.
        axis = _axis(solids)
        half = max(half, 0.9 * wide + 0.5 * math.dist((x, y), axis))
        x, y = (x + axis[0]) / 2, (y + axis[1]) / 2
    # A large gap needs both ends in the picture, in plan as well.
    near_x, near_y = min(max(x, s[0]), s[1]), min(max(y, s[2]), s[3])
    focus = ((x + near_x) / 2, (y + near_y) / 2, (c[4] + min(s[5], c[4])) / 2)
    return focus, min(max(half, HALF_HEIGHT_MM[0]), HALF_HEIGHT_MM[1])


def _view(focus: Vector, half: float, preset: Preset) -> View:
    distance = half / math.tan(math.radians(VIEW_ANGLE_DEG / 2))
    turn, rise = math.radians(preset.azimuth_deg), math.radians(preset.elevation_deg)
    eye = (
        focus[0] + distance * math.sin(turn) * math.cos(rise),
        focus[1] - distance * math.cos(turn) * math.cos(rise),
        focus[2] + distance * math.sin(rise),
    )
    return View(focus, eye, half, preset)


def _hidden(view: View, solids: Sequence[Solid], place: Place) -> float:
    """How many bodies stand in the sight of the place; a lug that looks away counts half."""
    parts = {id(part) for part in (place.carried, place.support) if part is not None}
    shown = {part.body_id for part in (place.carried, place.support) if part is not None}
    count = 0.0
    for solid in solids:
        if solid.look == "table" and view.eye[2] < solid.bounds[5]:
            count += 5.0
        if id(solid) in parts or solid.look in SEE_THROUGH:
            continue
        if solid.body_id in shown and solid.kind in CARRIED:
            continue
        if crosses(view.eye, view.focus, solid.bounds):
            count += 1.0
    if place.carried is not None and place.carried.look in ("lug", "edge"):
        x, y, _ = place.carried.middle
        axis = _axis(solids)
        out = (x - axis[0], y - axis[1])
        to_eye = (view.eye[0] - view.focus[0], view.eye[1] - view.focus[1])
        if out[0] * to_eye[0] + out[1] * to_eye[1] < 0.0:
            count += 0.5
    return count


def _axis(solids: Sequence[Solid]) -> tuple[float, float]:
    for solid in solids:
        if solid.look in ("face", "holder", "nose"):
            return solid.middle[0], solid.middle[1]
    return 0.0, 0.0


def crosses(start: Vector, end: Vector, box: Bounds) -> bool:
    """Whether the segment goes through the box, mm."""
    first, last = 0.0, 1.0
    for axis in range(3):
        low, high = box[2 * axis], box[2 * axis + 1]
        a, d = start[axis], end[axis] - start[axis]
        if abs(d) < 1e-12:
            if not low < a < high:
                return False
            continue
        one, two = sorted(((low - a) / d, (high - a) / d))
        first, last = max(first, one), min(last, two)
    return first < last


def opened(solids: Sequence[Solid], place: Place, view: View, code: str) -> list[Solid]:
    """The same parts, spindle and tool cut open where they hide what their inside met."""
    support = place.support
    hidden = support is not None and (
        code == "missed-edge"
        or any(s.look == "face" and in_bore(support, s) and _level(s, support) for s in solids)
    )
    if not hidden or support is None:
        return list(solids)
    axis = _axis(solids)
    way = (view.eye[0] - view.focus[0], view.eye[1] - view.focus[1])
    length = math.hypot(*way) or 1.0
    towards = (way[0] / length, way[1] / length)
    return [
        s.cut_open((*axis, 0.0), towards) if s.kind in CARRIED and s.look in CUT_OPEN else s
        for s in solids
    ]


def _level(face: Solid, support: Solid) -> bool:
    """Whether the support has come into the bore."""
    return support.bounds[5] > face.bounds[4] + 1e-3


def whole_view(solids: Sequence[Solid]) -> View:
    """The whole machine from the front right."""
    if not solids:
        return _view((0.0, 0.0, 0.0), HALF_HEIGHT_MM[1], WHOLE)
    low = [min(s.bounds[2 * i] for s in solids) for i in range(3)]
    high = [max(s.bounds[2 * i + 1] for s in solids) for i in range(3)]
    middle = tuple((a + b) / 2 for a, b in zip(low, high, strict=True))
    # Half the diagonal would never be cut off; a machine fills less of its box than that.
    half = 0.42 * math.dist(low, high)
    return _view((middle[0], middle[1], middle[2]), half, WHOLE)
