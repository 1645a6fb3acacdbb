"""Turns in the table plane, exact at quarter turns."""

from __future__ import annotations

import math


def sine_cosine(degrees: float) -> tuple[float, float]:
    """Sine and cosine; exact at quarter turns, so that nothing square ends up askew."""
    quarter, rest = divmod(degrees, 90.0)
    if rest == 0.0:
        return ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0))[int(quarter) % 4]
    return math.sin(math.radians(degrees)), math.cos(math.radians(degrees))


def turned_by(point: tuple[float, float], degrees: float) -> tuple[float, float]:
    """A point of the table plane turned about the origin, counter-clockwise seen from above."""
    sine, cosine = sine_cosine(degrees)
    return (point[0] * cosine - point[1] * sine, point[0] * sine + point[1] * cosine)
