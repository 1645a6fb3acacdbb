"""Judging ways: room above what stands under a path, and moves that end too near something."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.motion import stop_distance
from drytouch.sim.truth.collecting import Collector

if TYPE_CHECKING:
    from drytouch.sim.twin.line import Line

# A rapid that ends nearer than this to something was aimed too close for anyone's error.
NEAR_MM = 0.5
# Less downward than this per mm of path is a level move.
_DOWN_LIMIT = 1e-6


class WayJudge(Collector):
    """Findings from where a line leads, whether it meets anything or not."""

    margin_mm: float

    def _check_clearance(self, line: Line, t: float) -> None:
        """Would the same way across, lower by the margin, have met something?"""
        if any(not hit.graze for hit in line.hits):
            return  # it meets something as it is: a crash, told when it happens
        lowered = self._first_below(line, self.margin_mm)
        if lowered is None:
            return
        kind = self.stage.scene.body(lowered.other_body).kind
        if line.kind == "feed" and kind in ("stock", "table"):
            return  # a feed move close above the work is what cutting looks like
        low, high = 0.0, self.margin_mm
        for _ in range(14):  # to a thousandth of a margin and better
            middle = (low + high) / 2
            if self._first_below(line, middle) is None:
                low = middle
            else:
                high = middle
        self._find(
            "low-clearance",
            t,
            line.source,
            room_mm=low,
            under=self._name(lowered.other_body, lowered.other_feature),
            margin_mm=self.margin_mm,
        )

    def _first_below(self, line: Line, by: float) -> Any:
        x, y, z = line.start
        for hit in self.stage.contacts((x, y, z - by), line.direction, line.goal):
            if not hit.graze:
                return hit
        return None

    def _near_miss(self, line: Line, t: float, walked: float) -> None:
        if line.kind in ("touch", "step", "return", "coast", "sag", "home"):
            return
        ahead = [hit for hit in line.hits if hit.s + line.dead > walked and not hit.graze]
        needed = stop_distance(_top_speed(line), line.limits)
        if ahead:
            hit = ahead[0]
            room = hit.s + line.dead - walked
            if room >= needed:
                return
        elif line.kind == "jog" or (
            line.kind == "rapid" and line.direction[2] < -_DOWN_LIMIT and line.arc is None
        ):
            # A hand lets the key go when it sees the gap: a moment late, and it is a blow.
            reach = needed if line.kind == "jog" else NEAR_MM
            found = self.stage.contacts(self.kernel.physical(t), line.direction, reach)
            found = tuple(hit for hit in found if not hit.graze)
            if not found:
                return
            hit, room = found[0], found[0].s
        else:
            return
        self._find(
            "near-miss", t, line.source,
            kind=line.kind, room_mm=room, needed_mm=needed,
            other=self._name(hit.other_body, hit.other_feature),
        )  # fmt: skip


def _top_speed(line: Line) -> float:
    """The highest speed that the line really reached, mm/s."""
    top = 0.0
    for piece in line.track.pieces:
        t0, t1, _, v0, a0, jerk = piece[:6]
        duration = t1 - t0
        times = [0.0, duration]
        if jerk != 0.0 and 0.0 < -a0 / jerk < duration:
            times.append(-a0 / jerk)
        top = max(top, *(v0 + a0 * x + jerk * x * x / 2.0 for x in times))
    return top
