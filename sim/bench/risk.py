"""Risk taken: how near, how fast, at what override; written down while lines run."""

from __future__ import annotations

from math import inf
from typing import Any

from drytouch.sim.twin.twin import Twin

# How far ahead of a move's end something still counts as what it was heading for, mm.
AHEAD_MM = 20.0
# Gaps below this are touches.
_TOUCHING_MM = 1e-3
_UNWATCHED = ("rapid", "feed", "jog")


class Risk:
    """Watches the lines of one twin; asks the scene, and changes nothing."""

    def __init__(self, twin: Twin) -> None:
        self._twin = twin
        self.nearest_mm = inf
        self.nearest_s = 0.0
        self.approach_mm_per_min = 0.0
        self.approach_s = 0.0
        self.rapid_override = twin.kernel.rapid_override
        twin.kernel.observers.append(self._observe)

    def _observe(self, kind: str, t: float) -> None:
        line = self._twin.kernel.line
        if line is None or kind not in (*_UNWATCHED, "touch") or line.arc is not None:
            return
        if kind in ("rapid", "feed"):
            self.rapid_override = max(self.rapid_override, self._twin.kernel.rapid_override)
        solid = [hit for hit in line.hits if not hit.graze]
        if kind == "touch":
            self._fast(line, t)
            return
        if kind == "jog":
            self._jog(line, t, solid)
            return
        end = line.physical_at(line.goal)
        ahead = self._twin.stage.contacts(end, line.direction, AHEAD_MM)
        rooms = [hit.s for hit in ahead if not hit.graze and hit.s > _TOUCHING_MM]
        if rooms and not solid:
            self._near(min(rooms), t)
            self._fast(line, t)

    def _jog(self, line: Any, t: float, solid: list[Any]) -> None:
        """A jog ends where the key comes up: look then."""
        if not solid:
            return
        first = solid[0].s + line.dead

        def ended(_: object) -> None:
            walked = line.track.end_s
            room = first - walked
            if _TOUCHING_MM < room <= AHEAD_MM:
                self._near(room, t)
                self._fast(line, t)

        line.done.callbacks.append(ended)

    def _near(self, room: float, t: float) -> None:
        if room < self.nearest_mm:
            self.nearest_mm, self.nearest_s = room, t

    def _fast(self, line: Any, t: float) -> None:
        feed = line.feed if line.feed is not None else line.limits.speed
        speed = min(feed, line.limits.speed) * 60.0
        if speed > self.approach_mm_per_min:
            self.approach_mm_per_min, self.approach_s = speed, t

    def to_dict(self) -> dict[str, Any]:
        """Plain data for the debrief; None where nothing came near."""
        near = self.nearest_mm < inf
        return {
            "nearest_miss_mm": round(self.nearest_mm, 3) if near else None,
            "nearest_miss_s": self.nearest_s if near else None,
            "fastest_approach_mm_per_min": round(self.approach_mm_per_min, 1),
            "fastest_approach_s": self.approach_s,
            "highest_rapid_override": self.rapid_override,
        }
