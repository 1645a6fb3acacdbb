"""Where a recorded line was at a time: the formula of the recording format, and nothing else."""

from __future__ import annotations

import math
from bisect import bisect_right

from drytouch.sim.motion.pieces import Piece, position, speed
from drytouch.sim.recording.layout import LineLayout

Vector = tuple[float, float, float]
PLANES = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}
"""First, second and normal axis of each plane (right-handed)."""


def piece_at(line: LineLayout, t: float) -> Piece | None:
    """The plan's piece that holds at ``t`` (s); the first before it, None without any."""
    if not line.pieces:
        return None
    index = bisect_right(line.pieces, t, key=lambda piece: piece[0]) - 1
    return Piece(*line.pieces[max(index, 0)])


def command_path(line: LineLayout, t: float) -> float:
    """Commanded path position S(t), mm."""
    piece = piece_at(line, t)
    return 0.0 if piece is None else position(piece, t)


def physical_path(line: LineLayout, t: float) -> float:
    """True path position, mm: late by the delay, less lost motion, held by what blocks it."""
    s = max(command_path(line, t - line.delay_s) - line.dead_mm, 0.0)
    return s if line.block_mm is None else min(s, line.block_mm)


def physical_speed(line: LineLayout, t: float) -> float:
    """True speed along the path, mm/s."""
    late = t - line.delay_s
    piece = piece_at(line, late)
    if piece is None or not piece.t0 <= late <= piece.t1:
        return 0.0
    s = position(piece, late) - line.dead_mm
    if s < 0.0 or (line.block_mm is not None and s > line.block_mm):
        return 0.0
    return abs(speed(piece, late))


def physical(line: LineLayout, t: float) -> Vector:
    """True axis position, mm."""
    return point(line, line.start, physical_path(line, t))


def command(line: LineLayout, t: float) -> Vector:
    """Commanded axis position, mm."""
    return point(line, line.command_start, command_path(line, t))


def point(line: LineLayout, start: Vector, s: float) -> Vector:
    """The point ``s`` mm along the line or arc that starts at ``start``."""
    x, y, z = start
    if line.arc is None:
        u, v, w = line.direction
        return (x + u * s, y + v * s, z + w * s)
    _, radius, angle, sweep, plane = line.arc
    first, second, normal = PLANES[plane]
    rise = min(max(line.direction[normal], -1.0), 1.0)
    turned = angle + math.copysign(s * math.sqrt(1.0 - rise * rise) / radius, sweep)
    # Steps from the start, not from the centre: start and command_start share one arc.
    moved = [x, y, z]
    moved[first] += radius * (math.cos(turned) - math.cos(angle))
    moved[second] += radius * (math.sin(turned) - math.sin(angle))
    moved[normal] += rise * s
    return (moved[0], moved[1], moved[2])
