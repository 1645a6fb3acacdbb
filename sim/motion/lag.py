"""The servo: an axis does what its command did a little earlier.

A pure delay of (1 - k_ff)/Kv gives the right steady following error, v*(1 - k_ff)/Kv, and keeps
every event an exact root of the commanded path. Transients shorter than that delay aren't modelled.
"""

from __future__ import annotations

from drytouch.sim.errors import InputError
from drytouch.sim.motion.pieces import State
from drytouch.sim.motion.track import Track


def delay_s(kv_per_s: float, feed_forward: float) -> float:
    """Delay in s of a position loop with gain ``kv_per_s`` (1/s), ``feed_forward`` from 0 to 1.

    Raises InputError outside those ranges.
    """
    if not kv_per_s > 0.0:
        raise InputError(f"Kv {kv_per_s:g} 1/s, expected more than 0")
    if not 0.0 <= feed_forward <= 1.0:
        raise InputError(f"feed forward {feed_forward:g}, expected 0 to 1")
    return (1.0 - feed_forward) / kv_per_s


def following_error(speed_mm_per_s: float, kv_per_s: float, feed_forward: float) -> float:
    """Steady distance in mm of the axis behind its command."""
    return speed_mm_per_s * delay_s(kv_per_s, feed_forward)


def actual_state(track: Track, t: float, delay: float) -> State:
    """State of the axis at ``t`` (s), ``delay`` (s) behind its command."""
    return track.state_at(t - delay)


def actual_crossing(
    track: Track, level: float, since: float, delay: float, rising: bool = True
) -> float | None:
    """First time in s, not before ``since``, at which the axis comes to ``level`` (mm)."""
    t = track.crossing(level, since - delay, rising)
    # (since - delay) + delay may miss since by a last bit, and nothing may happen before now.
    return None if t is None else max(since, t + delay)
