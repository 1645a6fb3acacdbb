"""The pad: a depth gauge on a spring, with a trip level, a release level and a solid stop.

Depth is how far the pad is pushed below its free height, mm. Along one straight line it is
``depth0 + rate * (s - s_from)`` with ``rate = -(direction . pad normal)``.
"""

from __future__ import annotations

from math import cos, radians, sin

from drytouch.sim.scenario.setter import Setter

# A touch steeper than this against the pad's normal is a blow on its side, not a touch: below
# about 3 degrees of travel along the normal a plunger binds in its guide.
LEAST_RATE = 0.05


class Pad:
    """State of one setter's pad."""

    __slots__ = (
        "deepest",
        "depth",
        "dirt",
        "feature",
        "line_depth",
        "line_from",
        "line_rate",
        "name",
        "normal",
        "pressed",
        "setter",
        "slots",
        "touching",
        "trip",
    )

    def __init__(self, name: str, setter: Setter) -> None:
        self.name = name
        self.setter = setter
        self.normal = pad_normal(setter)
        self.depth = 0.0
        self.deepest = 0.0
        self.touching = False
        self.pressed = False
        self.feature = ""
        self.trip = setter.pre_travel_mm
        self.line_from = self.line_depth = self.line_rate = 0.0
        self.slots = {
            kind: f"{kind} {name}" for kind in ("contact", "close", "open", "leave", "solid")
        }

    def follow(self, s_from: float, depth: float, rate: float) -> None:
        """From path position ``s_from`` (mm) on, depth changes at ``rate`` mm per mm."""
        self.line_from, self.line_depth, self.line_rate = s_from, depth, rate

    def depth_at(self, s: float) -> float:
        """Depth (mm, never negative) at path position ``s`` of the line that is followed."""
        return max(0.0, self.line_depth + self.line_rate * (s - self.line_from))

    def s_at(self, depth: float) -> float | None:
        """Path position at which the depth passes ``depth``, or None if it never moves."""
        if self.line_rate == 0.0:
            return None
        return self.line_from + (depth - self.line_depth) / self.line_rate

    @property
    def solid(self) -> float:
        """Depth (mm) at which the overtravel budget is used up."""
        return self.trip + self.setter.overtravel_mm

    @property
    def release(self) -> float:
        """Depth (mm) at which it reopens on the way back."""
        return max(self.trip - self.setter.hysteresis_mm, 0.0)

    def force(self, depth: float) -> float:
        """Pad force (N) at a depth (mm): preload plus spring rate times travel."""
        if depth <= 0.0:
            return 0.0
        return self.setter.preload_N + self.setter.rate_N_per_mm * depth


def pad_normal(setter: Setter, turn_deg: float = 0.0) -> tuple[float, float, float]:
    """Unit normal of the pad's face in world axes, for a setter turned about its own axis."""
    tilt, axis = radians(setter.tilt_deg), radians(setter.tilt_axis_deg + turn_deg)
    # Rotating (0, 0, 1) by tilt about the horizontal axis (cos a, sin a, 0).
    return (sin(tilt) * sin(axis), -sin(tilt) * cos(axis), cos(tilt))


def bounce_edges(t_close: float, times: list[float], closed: bool) -> list[tuple[float, bool]]:
    """The edges of a contact that closes at ``t_close`` and bounces at these later times.

    ``times`` holds an even number of instants (s, ascending, after ``t_close``): it opens at the
    first, closes at the second, and so on, ending ``closed``.
    """
    edges = [(t_close, closed)]
    state = closed
    for t in times:
        state = not state
        edges.append((t, state))
    return edges
