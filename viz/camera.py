"""Where a movie's camera stands: near what meets, far enough back when things travel."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording
from drytouch.viz import words
from drytouch.viz.look import VIEW_ANGLE_DEG, Preset
from drytouch.viz.meshes import Solid, solids_at
from drytouch.viz.moment import time_s
from drytouch.viz.presses import Press, presses_of
from drytouch.viz.view import View, choose_place, choose_view, whole_view

NEAR_MM = 60.0
"""With more room than this between tool and what is below, nothing meets: show the way instead."""
TRAVEL = Preset("the way", 30.0, 16.0)
TRAVEL_HALF_MM = (150.0, 420.0)
EASE_S = 0.45
"""Screen time in which the camera comes 63 % of its way."""
STAY = 0.25
"""A view that differs by less than this share of the picture is no reason to move."""


class Aim(NamedTuple):
    """From ``t`` s of the run on, this view is wanted; ``close``: at something that meets."""

    t: float
    view: View
    close: bool


def aims_of(recording: Recording) -> list[Aim]:
    """The wanted views of a whole recording, in order of time."""
    presses = presses_of(recording)
    times = sorted(
        {0.0, *(line.t[0] for line in recording.lines)}
        | {row[0] for row in recording.data["scene"]}
        | {time_s(f, 0.0) for f in recording.findings}
    )
    aims: list[Aim] = []
    for t in times:
        aim = _aim(recording, t, presses)
        if not aims or _differ(aims[-1], aim):
            aims.append(aim)
    return aims


def _aim(recording: Recording, t: float, presses: Sequence[Press]) -> Aim:
    line = recording.line_at(t)
    end = line.t[1] if line is not None and line.t[0] <= t < line.t[1] else t
    press = next((p for p in presses if t <= p.contact <= end), None)
    at = press.rest if press is not None else end
    at = min(at, recording.duration_s)
    solids = solids_at(recording, at)
    none: Mapping[str, Any] = {}
    finding = next((f for f in recording.findings if time_s(f, -1.0) == t), none)
    place = choose_place(solids, str(finding.get("code", "")), words.where(finding))
    far = math.dist(recording.position_at(t), recording.position_at(at))
    moves = far > 2.5 * NEAR_MM
    if place.support is not None and place.gap_mm <= NEAR_MM and not moves:
        return Aim(t, choose_view(solids, place), True)
    tools = [s for s in solids if s.kind in ("tool", "spindle") and s.look != "head"]
    if not tools:
        return Aim(t, whole_view(solids), False)
    low = min(tools, key=lambda solid: solid.bounds[4])
    return Aim(t, _travel(recording, t, at, low, place.support), False)


def _travel(
    recording: Recording, t: float, at: float, low: Solid, support: Solid | None
) -> View:  # fmt: skip
    """Both ends of the way in the picture, and what stands below it when that is near."""
    ends = [(*low.middle[:2], low.bounds[4])]
    a, b = recording.position_at(t), recording.position_at(at)
    # Only what hangs on the head moves with z; a table that moves across shifts the scene instead.
    ends.append((ends[0][0], ends[0][1], ends[0][2] + a[2] - b[2]))
    if support is not None and ends[0][2] - support.bounds[5] < 500.0:
        x, y, _ = support.middle
        ends.append((min(max(x, ends[0][0] - 250.0), ends[0][0] + 250.0), y, support.bounds[5]))
    low_corner = [min(end[i] for end in ends) for i in range(3)]
    high_corner = [max(end[i] for end in ends) for i in range(3)]
    middle = [(p + q) / 2 for p, q in zip(low_corner, high_corner, strict=True)]
    half = 0.62 * math.dist(low_corner, high_corner) + 70.0
    half = min(max(half, TRAVEL_HALF_MM[0]), TRAVEL_HALF_MM[1])
    return view_at((middle[0], middle[1], middle[2]), half, TRAVEL)


def view_at(focus: tuple[float, float, float], half: float, preset: Preset) -> View:
    """A camera that looks at ``focus`` and shows ``half`` mm above and below it."""
    distance = half / math.tan(math.radians(VIEW_ANGLE_DEG / 2))
    turn, rise = math.radians(preset.azimuth_deg), math.radians(preset.elevation_deg)
    eye = (
        focus[0] + distance * math.sin(turn) * math.cos(rise),
        focus[1] - distance * math.cos(turn) * math.cos(rise),
        focus[2] + distance * math.sin(rise),
    )
    return View(focus, eye, half, preset)


def _differ(a: Aim, b: Aim) -> bool:
    if a.close != b.close or a.view.preset != b.view.preset:
        return True
    ratio = b.view.half_height_mm / a.view.half_height_mm
    moved = math.dist(a.view.focus, b.view.focus) / a.view.half_height_mm
    return moved > STAY or not 1 / (1 + STAY) < ratio < 1 + STAY


class Camera:
    """Eases from aim to aim; ``at`` must be asked in order of screen time."""

    def __init__(self, aims: Sequence[Aim]) -> None:
        self._aims = aims
        self._times = [aim.t for aim in aims]
        self._now: tuple[float, ...] | None = None
        self._screen_s = 0.0

    def at(self, t: float, screen_s: float, early_s: float = 0.0) -> tuple[View, bool]:
        """The view, and whether it is a close one; ``early_s`` of the run ahead."""
        index = max(bisect_right(self._times, t + early_s) - 1, 0)
        aim = self._aims[index]
        wanted = _numbers(aim.view)
        if self._now is None:
            self._now = wanted
        share = 1.0 - math.exp(-max(screen_s - self._screen_s, 0.0) / EASE_S)
        self._screen_s = screen_s
        now = tuple(n + (w - n) * share for n, w in zip(self._now, wanted, strict=True))
        if all(abs(n - w) < 1e-3 for n, w in zip(now, wanted, strict=True)):
            now = wanted  # at rest, so that equal frames are found equal
        self._now = now
        x, y, z, size, azimuth, elevation = now
        preset = Preset(aim.view.preset.name, azimuth, elevation)
        return view_at((x, y, z), math.exp(size), preset), aim.close


def _numbers(view: View) -> tuple[float, ...]:
    p = view.preset
    return (*view.focus, math.log(view.half_height_mm), p.azimuth_deg, p.elevation_deg)
