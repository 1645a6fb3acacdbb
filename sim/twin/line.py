"""One line: a path walked once, forward only, from rest to rest."""

from __future__ import annotations

from math import inf
from typing import Any

import simpy

from drytouch.sim.motion import Limits, State, Track
from drytouch.sim.recording import Source

Vector = tuple[float, float, float]
NO_SOURCE = Source()
# A path shorter than this is no move: far below any encoder, above rounding at 1 m.
LEAST_MOVE_MM = 1e-9


class Line:
    """What the kernel knows of the line that runs.

    ``s`` is commanded path from the line's start, mm. The first ``dead`` of it turn lost motion
    and pressed-in interference round before anything moves; ``block`` is the commanded path at
    which a body stops the axis. ``outcome`` is why it ended: goal, trigger, released, e-stop,
    fault, limit.
    """

    __slots__ = (
        "arc",
        "block",
        "block_hit",
        "braking",
        "carried",
        "coasts",
        "command",
        "cut_state",
        "cut_time",
        "data",
        "dead",
        "delay",
        "direction",
        "done",
        "feed",
        "goal",
        "hits",
        "id",
        "kind",
        "latch",
        "latch_time",
        "limits",
        "outcome",
        "paused",
        "peak_speed",
        "pushes",
        "released",
        "source",
        "stalled",
        "start",
        "stopping",
        "t0",
        "take_up",
        "touched",
        "track",
        "triggered",
        "watch",
    )

    def __init__(
        self,
        id: int,
        kind: str,
        t0: float,
        start: Vector,
        command: Vector,
        direction: Vector,
        goal: float,
        limits: Limits,
        feed: float | None,
        delay: float,
        done: simpy.Event,
        source: Source = NO_SOURCE,
        arc: Any = None,
    ) -> None:
        self.id = id
        self.kind = kind
        self.t0 = t0
        self.start = start
        self.command = command
        self.direction = direction
        self.goal = goal
        self.limits = limits
        self.feed = feed
        self.delay = delay
        self.done = done
        self.source = source
        self.arc = arc
        self.track = Track(0.0, t0)
        self.cut_time, self.cut_state = -inf, State(0.0, 0.0, 0.0)
        self.hits: tuple[Any, ...] = ()
        self.dead = 0.0
        self.take_up = 0.0
        self.carried = 0.0
        self.block = inf
        self.block_hit: Any = None
        self.braking = self.paused = self.released = self.coasts = False
        self.stopping = self.triggered = self.stalled = self.touched = False
        self.watch: int | None = None
        self.latch: Vector | None = None
        self.latch_time = 0.0
        self.peak_speed = 0.0
        self.pushes: list[tuple[float, Any, str]] = []
        self.outcome = ""
        self.data: Any = None

    @property
    def goes_across(self) -> bool:
        """Whether it is no plain way up or down."""
        u = self.direction
        return abs(u[2]) < 1.0 or self.arc is not None

    @property
    def arrives(self) -> bool:
        """Whether the plan as it stands ends at the goal, but for rounding."""
        return self.track.end_s >= self.goal - LEAST_MOVE_MM

    def command_at(self, s: float) -> Vector:
        """Commanded position at path ``s``; exact at the start of the line."""
        return self._point(self.command, s)

    def physical_at(self, s: float) -> Vector:
        """Where the face's centre really is when the delayed command is at ``s``."""
        walked = min(s, self.block) - self.dead
        return self._point(self.start, walked if walked > 0.0 else 0.0)

    def _point(self, origin: Vector, s: float) -> Vector:
        if self.arc is not None:
            at: Vector = self.arc.point(origin, s)
            return at
        u = self.direction
        return (origin[0] + u[0] * s, origin[1] + u[1] * s, origin[2] + u[2] * s)

    def heading(self, s: float) -> Vector:
        """Unit direction of travel at path ``s``."""
        if self.arc is None:
            return self.direction
        at: Vector = self.arc.heading(s)
        return at
