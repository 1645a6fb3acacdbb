"""Feed and rapid override: what the two knobs do to a line's limits."""

from __future__ import annotations

from drytouch.sim.errors import InputError
from drytouch.sim.motion.limits import Limits


def with_feed_override(limits: Limits, feed_mm_per_s: float, feed_override: float) -> Limits | None:
    """Limits of a feed move: its feed scaled by the knob (1.0 is 100 %), the machine's as they are.

    ``limits`` are the machine's along the line, without the feed. None at a feed of nothing,
    which is a hold. The rapid knob has no say. Raises InputError for a negative feed or override.
    """
    return _capped(limits, feed_mm_per_s, feed_override)


def with_rapid_override(limits: Limits, rapid_override: float) -> Limits | None:
    """Limits of a rapid: the machine's speed along the line, scaled by the knob (at most 1.0).

    None at an override of nothing, which is a hold. The feed knob has no say. Raises InputError
    for a negative override.
    """
    return _capped(limits, limits.speed, min(rapid_override, 1.0))


def _capped(limits: Limits, speed_mm_per_s: float, override: float) -> Limits | None:
    if not (speed_mm_per_s >= 0.0 and override >= 0.0):
        raise InputError(f"{speed_mm_per_s:g} mm/s at override {override:g}, expected 0 or more")
    speed = min(limits.speed, speed_mm_per_s * override)
    return Limits(speed, limits.acceleration, limits.jerk) if speed > 0.0 else None
