"""Where each drawn body is at a time; movie, window and model all ask here."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from drytouch.sim.recording import Recording
from drytouch.sim.recording.layout import LineLayout
from drytouch.sim.recording.track import command_path
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Vector, rotation

TURNS_WITH_SPINDLE = ("spindle", "tool")


class Pose(NamedTuple):
    """A body where it is: origin in mm (pressed pads lowered), turn about z in degrees."""

    body: Body
    position: Vector
    turn_deg: float


def poses_at(recording: Recording, t: float) -> dict[str, Pose]:
    """Every body that is there at ``t`` (s), by its id."""
    turned = spun_deg(recording, t)
    found: dict[str, Pose] = {}
    for item in recording.bodies_at(t):
        x, y, z = item.position
        turn = item.turn_deg
        if item.body.soft:
            z -= recording.pad_depth_at(setter_of(item.id), t)
        elif item.body.kind in TURNS_WITH_SPINDLE:
            turn += turned
        found[item.id] = Pose(item.body, (x, y, z), turn)
    return found


def matrix_of(pose: Pose) -> Any:
    """The pose as a 4 x 4 matrix, mm."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation((0.0, 0.0, pose.turn_deg))
    matrix[:3, 3] = pose.position
    return matrix


def setter_of(pad: str) -> str:
    """The name of the setter that a pad belongs to."""
    return pad.removesuffix(".pad")


def spun_deg(recording: Recording, t: float) -> float:
    """How far a turning spindle has come since it last stood, degrees in [0, 360)."""
    angle, rpm = recording.spindle_at(t)
    if rpm == 0.0:
        return 0.0
    rows = [row for row in recording.data["spindle"] if row[0] <= t]
    return math.degrees(angle - rows[-1][1]) % 360.0


def bends(recording: Recording) -> list[float]:
    """Times (s) at which motion may change its law: pieces, lost motion, blocks, presses, scene.

    Between two of them every position is one cubic in time (or an arc run at a cubic pace).
    """
    end = recording.duration_s
    times = {0.0, end}
    for line in recording.lines:
        times.update(line.t)
        for piece in line.pieces:
            times.update((piece[0] + line.delay_s, piece[1] + line.delay_s))
        low, high = line.t
        for level in (line.dead_mm, None if line.block_mm is None else line.block_mm):
            if level is None or level <= 0.0:
                continue
            limit = level + (line.dead_mm if level is line.block_mm else 0.0)
            if command_path(line, high - line.delay_s) > limit:
                times.add(_crossing(line, limit, low, high))
    times.update(row[1] for row in recording.data["pads"])
    times.update(row[0] for row in recording.data["scene"])
    times.update(row[0] for row in recording.data["spindle"])
    return sorted(time for time in times if 0.0 <= time <= end)


def _crossing(line: LineLayout, limit: float, low: float, high: float) -> float:
    """When the delayed path passes ``limit``, by halving: it only ever grows."""
    for _ in range(60):
        middle = (low + high) / 2
        if command_path(line, middle - line.delay_s) < limit:
            low = middle
        else:
            high = middle
    return high
