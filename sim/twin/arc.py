"""A circular or helical path: its points, headings and what it meets."""

from __future__ import annotations

from math import atan2, ceil, cos, floor, hypot, pi, sin
from typing import TYPE_CHECKING, Any, Literal

from drytouch.sim.motion import Limits, arc_limits

if TYPE_CHECKING:
    from drytouch.sim.scene import Scene

Vector = tuple[float, float, float]
Plane = Literal["xy", "zx", "yz"]
# First and second in-plane axis, and the axis of the arc, by plane (right-handed).
_PLANES: dict[Plane, tuple[int, int, int]] = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}


class Arc:
    """An arc from a start point round a centre; ``sweep`` in rad, counter-clockwise positive.

    ``centre`` and ``start``: machine mm; ``rise``: mm along the third axis over the whole sweep.
    ``length`` is path length, helix included.
    """

    def __init__(
        self, start: Vector, centre: Vector, sweep: float, plane: Plane = "xy", rise: float = 0.0
    ) -> None:
        i, j, k = _PLANES[plane]
        self.axes = (i, j, k)
        self.plane = plane
        self.sweep = sweep
        self.rise = rise
        self.offset = (centre[i] - start[i], centre[j] - start[j])
        self.radius = hypot(*self.offset)
        self.angle = atan2(-self.offset[1], -self.offset[0])
        self.length = hypot(self.radius * sweep, rise)

    def point(self, origin: Vector, s: float) -> Vector:
        """Position at path ``s`` (mm) for an arc that starts at ``origin``."""
        i, j, k = self.axes
        share = s / self.length if self.length else 0.0
        angle = self.angle + self.sweep * share
        out = [0.0, 0.0, 0.0]
        out[i] = origin[i] + self.offset[0] + self.radius * cos(angle)
        out[j] = origin[j] + self.offset[1] + self.radius * sin(angle)
        out[k] = origin[k] + self.rise * share
        return (out[0], out[1], out[2])

    def end(self, origin: Vector) -> Vector:
        """Where it ends, mm."""
        return self.point(origin, self.length)

    def farthest(self, origin: Vector) -> list[Vector]:
        """Where an axis is farthest along the arc: at each quarter that it passes, and its end."""
        quarter = pi / 2.0
        low, high = sorted((self.angle, self.angle + self.sweep))
        turns = range(ceil(low / quarter), floor(high / quarter) + 1)
        shares = [(turn * quarter - self.angle) / self.sweep for turn in turns if self.sweep]
        return [*(self.point(origin, share * self.length) for share in shares), self.end(origin)]

    def heading(self, s: float) -> Vector:
        """Unit direction of travel at path ``s``."""
        i, j, k = self.axes
        share = s / self.length if self.length else 0.0
        angle = self.angle + self.sweep * share
        along_arc = self.radius * self.sweep / self.length
        out = [0.0, 0.0, 0.0]
        out[i] = -sin(angle) * along_arc
        out[j] = cos(angle) * along_arc
        out[k] = self.rise / self.length
        return (out[0], out[1], out[2])

    def limits(self, speeds: Any, accelerations: Any, jerks: Any) -> Limits:
        """Speed, acceleration and jerk along the arc: every axis may have to give all of it."""
        i, j, k = self.axes
        climb = abs(self.rise) / self.length

        def least(values: Any) -> float:
            flat: float = min(values[i], values[j])
            return min(flat, values[k] / climb) if climb > 0.0 else flat

        path = Limits(least(speeds), least(accelerations), least(jerks))
        return arc_limits(path, self.radius)

    def contacts(self, scene: Scene, start: Vector) -> Any:
        """Everything that the arc meets from ``start`` (physical, mm)."""
        from drytouch.sim.scene import first_contacts_arc

        per_radian = self.rise / abs(self.sweep) if self.sweep else 0.0
        return first_contacts_arc(
            scene,
            start,
            self._centre(start),
            self.radius,
            self.angle,
            self.sweep,
            self.plane,
            per_radian,
        )

    def _centre(self, start: Vector) -> Vector:
        i, j, _ = self.axes
        centre = list(start)
        centre[i] += self.offset[0]
        centre[j] += self.offset[1]
        return (centre[0], centre[1], centre[2])

    def entry(self, start: Vector) -> Any:
        """The arc as the recording has it."""
        return (self._centre(start), self.radius, self.angle, self.sweep, self.plane)
