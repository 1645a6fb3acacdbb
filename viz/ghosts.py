"""Where the controller takes tool, pad, setter and stock top to be: what movie and window outline.

The same rules as the replay page's (viz/web/source/belief.ts), for pictures that move.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from itertools import product
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Vector
from drytouch.viz.page_data import facts_of
from drytouch.viz.poses import Pose, poses_at, setter_of

SAID_MM = 0.0005
"""Below the last digit of a length nothing is off."""


class Ghost(NamedTuple):
    """A body where it is taken to be, what to call it, and the point (mm) that the words name.

    ``by``: how far that is from where it is, mm.
    """

    pose: Pose
    by: Vector
    label: str
    point: Vector


def ghosts_at(
    recording: Recording, t: float, least_mm: float, poses: dict[str, Pose] | None = None
) -> list[Ghost]:
    """All that is taken to be at least ``least_mm`` away from where it is, at ``t`` s.

    ``poses``: where everything is then, for whoever has them already.
    """
    return _Believed(recording, t, poses_at(recording, t) if poses is None else poses).all(least_mm)


class _Believed:
    """The tables at a time, against what stands there."""

    def __init__(self, recording: Recording, t: float, poses: dict[str, Pose]) -> None:
        self._facts = facts_of(recording, None)
        self._told: dict[str, Any] = {**self._facts["start"], **recording.beliefs_at(t)}
        self._poses = poses
        self._links: Mapping[str, Any] = recording.data["links"]
        self._off = _off(recording, t)
        self._pressed = {
            name: recording.pad_depth_at(setter_of(name), t)
            for name, pose in self._poses.items()
            if pose.body.soft
        }

    def all(self, least_mm: float) -> list[Ghost]:
        found = [self._tool(), self._stock()]
        for name, pose in self._poses.items():
            if pose.body.kind == "pad":
                found += self._pad(name, pose, least_mm)
        return [ghost for ghost in found if ghost is not None and math.hypot(*ghost.by) >= least_mm]

    def _number(self, key: str) -> float | None:
        value = self._told.get(key)
        return float(value) if isinstance(value, int | float) else None

    def _base(self) -> float | None:
        """What the machine's convention adds to a length from the face; None while unknown."""
        convention = self._facts["length_convention"]
        if convention == "face":
            return 0.0
        first = next(iter(self._facts["setters"]), "")
        setter = self._told.get("selected setter") or first
        if convention == "difference":
            master = self._number(f"setter {setter} master_length_mm")
            return None if master is None else -master
        reference = self._number(f"setter {setter} reference_z_mm")
        height = self._number(f"setter {setter} height_mm")
        return None if reference is None or height is None else reference - height

    def _first(self, kind: str) -> Pose | None:
        return next((p for p in self._poses.values() if p.body.kind == kind), None)

    def _tool(self) -> Ghost | None:
        pose, base = self._first("tool"), self._base()
        if pose is None or base is None:
            return None
        row = self._told.get("active length row") or self._told.get("loaded slot")
        stored = self._number(f"row {row} length") if row else None
        bottom = heights(pose.body)[0]
        x, y, z = (f * o for f, o in zip(self._links[pose.body.link], self._off, strict=True))
        if stored is None:
            return _ghost(pose, (x, y, z), "the tool should be here", bottom)
        taken = stored + (self._number(f"row {row} wear") or 0.0) - base
        return _ghost(pose, (x, y, z - bottom - taken), "tip taken to be here", bottom)

    def _pad(self, name: str, pose: Pose, least_mm: float) -> list[Ghost | None]:
        setter = setter_of(name)
        x, y, height, reference = (
            self._number(f"setter {setter} {key}_mm") for key in ("x", "y", "height", "reference_z")
        )
        pre_travel = self._facts["setters"].get(setter, {}).get("pre_travel_mm")
        dx = dy = dz = 0.0
        foot = self._poses.get(setter)
        if x is not None and y is not None:
            at = self._on_table((x, y, 0.0), pose.body)
            dx, dy = at[0] - pose.body.offset[0], at[1] - pose.body.offset[1]
        top = heights(pose.body)[1]
        trip = None
        if isinstance(pre_travel, int | float):
            trip = pose.body.offset[2] + top - float(pre_travel)
        if reference is not None and trip is not None:
            dz = self._on_table((0.0, 0.0, reference), pose.body)[2] - trip
        # A pressed pad is lower than it stands free; what is believed is about the free one.
        free = pose._replace(position=_moved(pose.position, (0.0, 0.0, self._pressed[name])))
        found: list[Ghost | None] = [_ghost(free, (dx, dy, dz), "pad taken to be here", top)]
        if foot is not None and trip is not None and height is not None:
            low, high = heights(foot.body)
            by = (dx, dy, height - (trip - (foot.body.offset[2] + low)))
            if abs(by[2]) >= max(least_mm, SAID_MM):  # sideways, the pad says it
                found.append(_ghost(foot, by, "setter taken to be so high", high / 2.0))
        return found

    def _stock(self) -> Ghost | None:
        system = self._told.get("active system") or "G54"
        z, base, pose = self._number(f"{system} z"), self._base(), self._first("stock")
        if not z or base is None or pose is None:
            return None
        level = z + (self._number("shift z") or 0.0) + base
        top = heights(pose.body)[1]
        zero = self._on_table((0.0, 0.0, level), pose.body)[2]
        by = (0.0, 0.0, zero - (pose.body.offset[2] + top))
        return _ghost(pose, by, f"{system} takes the top to be here", top)

    def _on_table(self, machine: Vector, body: Body) -> Vector:
        """Machine coordinates as a place on what stands on the table, before its link moves it."""
        spindle = self._first("spindle")
        if spindle is None:
            return machine
        head, own = self._links[spindle.body.link], self._links[body.link]
        x, y, z = ((h - o) * m for h, o, m in zip(head, own, machine, strict=True))
        return x, y, z


def _off(recording: Recording, t: float) -> Vector:
    """Believed minus true axis position, mm, without what only the delay of a moving axis makes."""
    line = recording.line_at(t)
    if line is not None and recording.speed_at(t) != 0.0:
        a, b = line.command_start, line.start
    else:
        a, b = recording.command_at(t), recording.position_at(t)
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def _ghost(pose: Pose, by: Vector, words: str, z: float) -> Ghost:
    at = _moved(pose.position, by)
    return Ghost(pose._replace(position=at), by, words, (at[0], at[1], at[2] + z))


def _moved(at: Vector, by: Vector) -> Vector:
    return at[0] + by[0], at[1] + by[1], at[2] + by[2]


def heights(body: Body) -> tuple[float, float]:
    """Lowest and highest point of a body in its own frame, mm."""
    low, high = _box(body.parts)
    return low[2], high[2]


def corners(pose: Pose) -> list[Vector]:
    """The corners of the box around a body where it is, mm; as if it were not turned."""
    low, high = _box(pose.body.parts)
    sides = zip(low, high, strict=True)
    return [_moved(pose.position, (x, y, z)) for x, y, z in product(*sides)]


@lru_cache(maxsize=256)
def _box(parts: Any) -> tuple[Vector, Vector]:
    from drytouch.viz.meshes import local_parts

    bounds = [mesh.bounds for _, mesh in local_parts(Body("any", "any", parts))]
    low = tuple(min(b[i] for b in bounds) for i in (0, 2, 4))
    high = tuple(max(b[i] for b in bounds) for i in (1, 3, 5))
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])
