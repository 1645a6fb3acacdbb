"""Bounding boxes along a straight move: the first sieve."""

from __future__ import annotations

from collections.abc import Sequence

from drytouch.sim.scene.pieces import TOUCH_MM, Piece
from drytouch.sim.scene.shapes import Vector

# The sieve's boxes are this much larger than the bodies: ten touches, so that a touch and the
# rounding of its bounds never fall through.
SIEVE_MARGIN_MM = 10 * TOUCH_MM


def swept(low: Vector, high: Vector, start: Vector, reach: Vector) -> tuple[Vector, Vector]:
    """Bounds of a box shifted by ``start`` and moved by ``reach``, mm, a margin larger."""
    margin = SIEVE_MARGIN_MM
    rx, ry, rz = reach
    return (
        (
            low[0] + start[0] + min(0.0, rx) - margin,
            low[1] + start[1] + min(0.0, ry) - margin,
            low[2] + start[2] + min(0.0, rz) - margin,
        ),
        (
            high[0] + start[0] + max(0.0, rx) + margin,
            high[1] + start[1] + max(0.0, ry) + margin,
            high[2] + start[2] + max(0.0, rz) + margin,
        ),
    )


def bounds_meet(
    low_a: Vector,
    high_a: Vector,
    low_b: Vector,
    high_b: Vector,
    start: Vector,
    w: Vector,
    length: float,
    margin: float = SIEVE_MARGIN_MM,
) -> float | None:
    """Path at which two bounding boxes meet, mm, or None (clipping axis by axis)."""
    begin, end = 0.0, length
    for i in range(3):
        low = low_b[i] - high_a[i] - start[i] - margin
        high = high_b[i] - low_a[i] - start[i] + margin
        rate = w[i]
        if rate > 0.0:
            begin, end = max(begin, low / rate), min(end, high / rate)
        elif rate < 0.0:
            begin, end = max(begin, high / rate), min(end, low / rate)
        elif not low <= 0.0 <= high:
            return None
        if begin > end:
            return None
    return begin


def joined(pieces: Sequence[Piece]) -> tuple[Vector, Vector]:
    """The box around several pieces, mm, at q = 0."""
    lows, highs = [p.low for p in pieces], [p.high for p in pieces]
    return (
        (min(p[0] for p in lows), min(p[1] for p in lows), min(p[2] for p in lows)),
        (max(p[0] for p in highs), max(p[1] for p in highs), max(p[2] for p in highs)),
    )
