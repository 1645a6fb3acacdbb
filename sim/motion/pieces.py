"""One cubic stretch of a path: where along its line, how fast and how hard, at any time.

Moves are chains of these pieces with constant jerk, so every question about a move (when does it
pass a level, how fast is it then) is a root of a polynomial and nothing is stepped in time.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class State(NamedTuple):
    """Path position ``s`` (mm), speed ``v`` (mm/s) and acceleration ``a`` (mm/s^2) at one time."""

    s: float
    v: float
    a: float


class Piece(NamedTuple):
    """Constant jerk from ``t0`` to ``t1`` (s).

    ``s0``, ``v0``, ``a0``: position (mm of path), speed (mm/s) and acceleration (mm/s^2) at
    ``t0``; ``jerk`` in mm/s^3; ``s1``: position at ``t1``, kept beside the cubic because a target
    must be met exactly while the cubic carries rounding. Speed keeps one sign inside a piece.
    """

    t0: float
    t1: float
    s0: float
    v0: float
    a0: float
    jerk: float
    s1: float


def position(piece: Piece, t: float) -> float:
    """Path position in mm at ``t`` (s), held at the ends outside the piece."""
    t0, t1, s0, v0, a0, jerk, s1 = piece
    if t >= t1:
        return s1
    if t <= t0:
        return s0
    dt = t - t0
    s = s0 + dt * (v0 + dt * (0.5 * a0 + dt * jerk / 6.0))
    # Rounding may put the cubic a last bit outside its ends; a move must never pass its target.
    if s1 >= s0:
        return s1 if s > s1 else s0 if s < s0 else s
    return s1 if s < s1 else s0 if s > s0 else s


def speed(piece: Piece, t: float) -> float:
    """Path speed in mm/s at ``t`` (s), clamped to the piece's time and to its one direction."""
    dt = min(max(t, piece.t0), piece.t1) - piece.t0
    v = piece.v0 + dt * (piece.a0 + 0.5 * dt * piece.jerk)
    return max(v, 0.0) if piece.s1 >= piece.s0 else min(v, 0.0)


def acceleration(piece: Piece, t: float) -> float:
    """Path acceleration in mm/s^2 at ``t`` (s), clamped to the piece's time."""
    return piece.a0 + (min(max(t, piece.t0), piece.t1) - piece.t0) * piece.jerk


def rest(t0: float, t1: float, s: float) -> Piece:
    """Standing still at ``s`` (mm) from ``t0`` to ``t1`` (s)."""
    return Piece(t0, t1, s, 0.0, 0.0, 0.0, s)


def split_at_reversal(piece: Piece) -> list[Piece]:
    """Cut a cubic where its speed changes sign, so that each part is monotone.

    The last part keeps the given ``s1``. A piece that never turns comes back alone.
    """
    span = piece.t1 - piece.t0
    parts: list[Piece] = []
    here = piece
    for dt in _reversals(piece.v0, piece.a0, piece.jerk):
        t = piece.t0 + dt
        if not 0.0 < dt < span or not here.t0 < t < piece.t1:
            continue
        s = piece.s0 + dt * (piece.v0 + dt * (0.5 * piece.a0 + dt * piece.jerk / 6.0))
        parts.append(here._replace(t1=t, s1=s))
        here = Piece(t, piece.t1, s, 0.0, piece.a0 + dt * piece.jerk, piece.jerk, piece.s1)
    parts.append(here)
    return parts


def _reversals(v: float, a: float, jerk: float) -> list[float]:
    """Times after the start, in order, at which v + a*t + jerk*t^2/2 changes sign."""
    if jerk == 0.0:
        return [-v / a] if a != 0.0 else []
    inside = a * a - 2.0 * jerk * v
    if inside <= 0.0:
        return []
    # The sum of like signs first: the textbook form loses the small root to cancellation.
    q = -(a + math.copysign(math.sqrt(inside), a))
    roots = [q / jerk]
    roots.append(2.0 * v / q)
    return sorted(roots)
