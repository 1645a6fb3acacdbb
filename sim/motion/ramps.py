"""The arithmetic under the plans: from a speed and an acceleration to another speed.

Whatever the state, the quickest jerk-limited change of speed is: ramp the acceleration to a peak,
hold it, ramp it to nothing. Only scalars in here; ``plans`` lays the result out as pieces.
"""

from __future__ import annotations

import math
from collections.abc import Callable

# Distances closer than this are the same: a few last bits of a metre of travel.
SOLVED_MM = 2e-13
# Halving alone settles any bracket of doubles within this many steps.
MOST_STEPS = 120


# A change of speed in three phases: t_in, jerk_in, v_in, peak, t_steady, v_out, t_out, jerk_out.
# Durations in s, signed jerks in mm/s^3; ``peak`` is the signed acceleration (mm/s^2) held in the
# second phase, ``v_in`` and ``v_out`` the speeds (mm/s) at its ends. A plain tuple: half the cost.
Ramps = tuple[float, float, float, float, float, float, float, float]


def ramps(v: float, a: float, target: float, acceleration: float, jerk: float) -> Ramps:
    """Phases from speed ``v`` and acceleration ``a`` to speed ``target`` at no acceleration."""
    gap = target - v
    # The speed is v + a|a|/2j if the acceleration is now simply let go; that decides the direction.
    side = 1.0 if gap >= a * abs(a) / (2.0 * jerk) else -1.0
    inside = jerk * side * gap + 0.5 * a * a
    height = math.sqrt(inside) if inside > 0.0 else 0.0
    if height > acceleration:
        height = acceleration
    peak = side * height
    jerk_in = jerk if peak >= a else -jerk
    v_in = v + (peak * peak - a * a) / (2.0 * jerk_in)
    v_out = target - side * height * height / (2.0 * jerk)
    t_steady = (v_out - v_in) / peak if height == acceleration else 0.0
    return (
        (peak - a) / jerk_in,
        jerk_in,
        v_in,
        peak,
        t_steady if t_steady > 0.0 else 0.0,
        v_out,
        height / jerk,
        -side * jerk,
    )


def distance_of(phases: Ramps, v: float, a: float, target: float) -> float:
    """Path in mm of ``ramps(v, a, target, ...)``."""
    t1, j1, v_in, peak, t2, _, t3, j3 = phases
    # The last phase is summed backwards from its known end speed.
    return (
        t1 * (v + t1 * (0.5 * a + t1 * j1 / 6.0))
        + t2 * (v_in + 0.5 * t2 * peak)
        + t3 * (target + t3 * t3 * j3 / 6.0)
    )


def ramps_distance(v: float, a: float, target: float, acceleration: float, jerk: float) -> float:
    """Path in mm from speed ``v`` and acceleration ``a`` to steady speed ``target``."""
    return distance_of(ramps(v, a, target, acceleration, jerk), v, a, target)


def steady_stop_distance(v: float, acceleration: float, jerk: float) -> float:
    """Path in mm to stop from steady speed ``v`` (mm/s): v*T/2."""
    if v * jerk >= acceleration * acceleration:
        return 0.5 * v * (v / acceleration + acceleration / jerk)
    return v * math.sqrt(v / jerk)


def peak_speed(
    v: float, a: float, low: float, high: float, distance: float, acceleration: float, jerk: float
) -> float:
    """The highest speed from which a stop still ends within ``distance`` (mm).

    ``low`` (mm/s) is known to be low enough and ``high`` too high; both at or above the speed that
    (``v``, ``a``) runs into by itself, where the path grows with the peak. Returns the low side of
    the root, so that what is missing can be cruised.
    """
    # d(path)/d(peak) of any change of speed is peak/p + p/2j, p its greatest acceleration.
    guess = high
    for _ in range(MOST_STEPS):
        up = 0.5 * a * a + jerk * (guess - v)
        p = math.sqrt(up) if up > 0.0 else 0.0
        q = math.sqrt(jerk * guess)
        p = p if p < acceleration else acceleration
        q = q if q < acceleration else acceleration
        over = (
            ramps_distance(v, a, guess, acceleration, jerk)
            + steady_stop_distance(guess, acceleration, jerk)
            - distance
        )
        if over > 0.0:
            high = guess
        else:
            low = guess
            if over > -SOLVED_MM:
                break
        slope = guess / p + guess / q + (p + q) / (2.0 * jerk) if p > 0.0 and q > 0.0 else 0.0
        # Aim a hair short: a root met from above would never raise the low side.
        following = guess - (over + 0.5 * SOLVED_MM) / slope if slope > 0.0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
            if not low < following < high:
                break
        guess = following
    return low


def root_from_below(excess: Callable[[float], float], below: float, above: float) -> float:
    """A root of ``excess`` (mm) between two arguments, from the side on which it isn't positive.

    ``excess(below) <= 0 <= excess(above)``, in either order on the axis. False position with
    halved weights (the Illinois rule), and plain halving whenever that fails to shrink the bracket.
    """
    f_below, f_above = excess(below), excess(above)
    weight_below = weight_above = 1.0
    for step in range(MOST_STEPS):
        if f_below > -SOLVED_MM:
            break
        low, high = weight_below * f_below, weight_above * f_above
        guess = below + (above - below) * (low / (low - high))
        if step % 3 == 2 or not min(below, above) < guess < max(below, above):
            guess = 0.5 * (below + above)
            if guess in (below, above):
                break
        f = excess(guess)
        if f > 0.0:
            above, f_above = guess, f
            weight_above, weight_below = 1.0, 0.5 * weight_below
        else:
            below, f_below = guess, f
            weight_below, weight_above = 1.0, 0.5 * weight_above
    return below
