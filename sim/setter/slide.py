"""A loose setter on a table that accelerates: it sticks, slips, and stops somewhere.

Relative to the table it slips by ``w' = -a(t) - sign(w) * mu_k * g`` once ``|a(t)|`` passes
``mu_s * g``, until ``w`` is 0 (Coulomb friction; the holding force counts as more weight). Along
one line the table's acceleration is piecewise linear, so speed is piecewise quadratic and place
piecewise cubic: the roots are exact, nothing is stepped.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, sqrt
from typing import Any

GRAVITY_MM_PER_S2 = 9806.65  # standard gravity, exact by definition (ISO 80000-3)


def slide_distance(
    pieces: Iterable[Any], share: float, static_mm_per_s2: float, kinetic_mm_per_s2: float
) -> float:
    """How far (mm, signed along the table's motion) the setter ends from where it stood.

    ``pieces``: the line's pieces (t0, t1, s0, v0, a0, jerk, s1); ``share``: table motion per path,
    signed; the two decelerations are friction coefficient times g times (weight + hold) / weight.
    """
    place, w = slide(pieces, share, static_mm_per_s2, kinetic_mm_per_s2)
    return place + run_out(w, kinetic_mm_per_s2)


def run_out(w: float, kinetic_mm_per_s2: float) -> float:
    """How far (mm) a setter slides on at ``w`` (mm/s) over a table that stands."""
    return w * abs(w) / (2.0 * kinetic_mm_per_s2)


def slide(
    pieces: Iterable[Any],
    share: float,
    static_mm_per_s2: float,
    kinetic_mm_per_s2: float,
    w: float = 0.0,
) -> tuple[float, float]:
    """How far (mm) it slides while the table runs ``pieces``, and how fast (mm/s) at their end.

    ``w``: how fast it slides at their start; the rest as for ``slide_distance``.
    """
    place = 0.0
    sliding = 1.0 if w > 0.0 else -1.0 if w < 0.0 else 0.0  # the sign of w, 0 while it sticks
    for piece in pieces:
        t0, t1, a0, jerk = piece[0], piece[1], piece[4] * share, piece[5] * share
        tau, end = 0.0, t1 - t0
        while tau < end:
            a = a0 + jerk * tau
            if sliding == 0.0:
                start = _slips_at(a, jerk, static_mm_per_s2)
                if tau + start >= end:
                    break
                tau += start
                sliding = -1.0 if a0 + jerk * tau > 0.0 else 1.0
                a = a0 + jerk * tau
            # w(x) = w - (a + sliding * mu) x - jerk x^2 / 2
            slope = -(a + sliding * kinetic_mm_per_s2)
            rest = _stops_after(w, slope, -jerk, sliding)
            step = min(rest, end - tau)
            place += w * step + slope * step**2 / 2 - jerk * step**3 / 6
            w += slope * step - jerk * step**2 / 2
            tau += step
            if rest <= step:
                w, sliding = 0.0, 0.0
                tau = max(tau, tau + 1e-15)
    return place, w


def _slips_at(a: float, jerk: float, limit: float) -> float:
    """Time until |a| passes ``limit``; 0 if it has, inf if it never does at this jerk."""
    if abs(a) > limit:
        return 0.0
    if jerk == 0.0:
        return inf
    at = ((limit if jerk > 0.0 else -limit) - a) / jerk
    # Strictly past the limit, or a body at the very limit would slip and stick for ever.
    return max(at, 0.0) * (1.0 + 1e-12) + 1e-12


def _stops_after(w: float, slope: float, curve: float, sign: float) -> float:
    """First time > 0 at which w + slope x + curve x^2 / 2 comes back to 0, or inf."""
    if w == 0.0 and slope * sign <= 0.0 and curve * sign <= 0.0:
        return 0.0
    if curve == 0.0:
        return -w / slope if slope * sign < 0.0 else inf
    root = slope**2 - 2.0 * curve * w
    if root < 0.0:
        return inf
    r = sqrt(root)
    # The stable pair of roots of curve/2 x^2 + slope x + w.
    q = -(slope + (r if slope >= 0.0 else -r))
    found = [x for x in (q / curve, 2.0 * w / q if q else inf) if x > 1e-12]
    return min(found, default=inf)
