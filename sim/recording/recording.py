"""A recorded run: where everything was at any time, what was signalled, believed and found."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from drytouch.sim.recording import files
from drytouch.sim.recording.decode import bodies_of
from drytouch.sim.recording.layout import LineLayout, RecordingLayout
from drytouch.sim.recording.recorder import Recorder, Vector
from drytouch.sim.recording.track import command, physical, physical_path, physical_speed
from drytouch.sim.scene.bodies import Body


class BodyAt(NamedTuple):
    """A body in the world: its origin in mm, its turn about z in degrees, and what it is."""

    id: str
    body: Body
    position: Vector
    turn_deg: float


class Event(NamedTuple):
    """Something that happened at ``t`` (s)."""

    t: float
    kind: str
    data: Any


class Recording:
    """All that a replay needs. Times in s, lengths in mm; ``data`` is the file as plain values."""

    def __init__(self, data: Mapping[str, Any], layout: RecordingLayout, name: str = "") -> None:
        self.data = data
        self._layout = layout
        self._geometry = bodies_of(layout, name)
        self._starts = [line.t[0] for line in layout.lines]
        self._by_id = {line.id: line for line in layout.lines}
        self._events = [Event(*row) for row in layout.events]
        self._event_times = [row[0] for row in layout.events]

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], name: str = "") -> Recording:
        """Check plain values; InputError names ``name`` (the file) and what is wrong."""
        return cls(data, files.check(data, name), name)

    @classmethod
    def from_recorder(cls, recorder: Recorder) -> Recording:
        """The recording of a run that is over, or of a live one up to now."""
        return cls.from_dict(recorder.to_dict())

    @classmethod
    def from_outcome(cls, outcome: Any) -> Recording:
        """The recording of a run with its outcome (``Twin.run`` gives one) inside."""
        recorder: Recorder = outcome.recorder
        recorder.end(outcome.time_s, outcome.to_dict())
        return cls.from_recorder(recorder)

    @classmethod
    def load(cls, path: str | Path) -> Recording:
        """Read a file; a damaged one, or one of another format, is an InputError with the fix."""
        return cls.from_dict(files.read(path), str(path))

    def save(self, path: str | Path) -> None:
        """Write the file whole or not at all; the same run gives the same bytes."""
        files.write(path, self.data)

    @property
    def duration_s(self) -> float:
        """When the run was over."""
        return self._layout.duration_s

    @property
    def scenario(self) -> Mapping[str, Any]:
        """Facts for people: name, title, unit ..."""
        return self._layout.scenario

    @property
    def outcome(self) -> Mapping[str, Any] | None:
        """The outcome as its own file has it; None when the run was never judged."""
        return self._layout.outcome

    @property
    def verdict(self) -> str:
        """The outcome's verdict; empty when never judged."""
        return str((self.outcome or {}).get("verdict", ""))

    @property
    def findings(self) -> tuple[Mapping[str, Any], ...]:
        """The outcome's findings, in its order."""
        found = (self.outcome or {}).get("findings", ())
        if not isinstance(found, list):
            return ()
        return tuple(finding for finding in found if isinstance(finding, dict))

    @property
    def lines(self) -> tuple[LineLayout, ...]:
        """Every line that was run, in order."""
        return self._layout.lines

    def line_at(self, t: float) -> LineLayout | None:
        """The line that runs at ``t``, or the last one before it; None before the first."""
        index = bisect_right(self._starts, t) - 1
        return self._layout.lines[index] if index >= 0 else None

    def position_at(self, t: float) -> Vector:
        """Where the axes really are: the middle of the spindle face, mm."""
        line = self.line_at(t)
        if line is not None:
            return physical(line, min(t, line.t[1]))
        return self._layout.lines[0].start if self._layout.lines else self._layout.start

    def command_at(self, t: float) -> Vector:
        """Where the controller has told the axes to be, mm."""
        line = self.line_at(t)
        if line is not None:
            return command(line, min(t, line.t[1]))
        return self._layout.lines[0].command_start if self._layout.lines else self._layout.start

    def speed_at(self, t: float) -> float:
        """True speed along the path, mm/s; 0 at rest."""
        line = self.line_at(t)
        return physical_speed(line, t) if line is not None and t <= line.t[1] else 0.0

    def pad_depth_at(self, setter: str, t: float) -> float:
        """How far the setter's pad is pressed down, mm; 0 when free."""
        rows = [row for row in self._layout.pads if row[0] == setter and row[1] <= t]
        if not rows:
            return 0.0
        _, _, line_id, s_from, depth, rate, cap = rows[-1]
        line = self._by_id.get(line_id)
        if line is not None:
            depth += rate * (physical_path(line, min(t, line.t[1])) - s_from)
        return min(max(depth, 0.0), math.inf if cap is None else cap)

    def pad_limit_of(self, setter: str) -> float | None:
        """The travel at which the setter's pad is solid, mm; None when never pressed or endless."""
        caps = [row[6] for row in self._layout.pads if row[0] == setter]
        return caps[-1] if caps else None

    @cached_property
    def setters(self) -> tuple[str, ...]:
        """Every setter whose pad was pressed, by name."""
        return tuple(sorted({row[0] for row in self._layout.pads}))

    def bodies_at(self, t: float) -> tuple[BodyAt, ...]:
        """Everything that is there at ``t`` (what never came before ``t`` is left out)."""
        q = self.position_at(t)
        there: dict[str, BodyAt] = {}
        for time, _, body_id, pose in self._layout.scene:
            if time > t:
                break
            if pose is None:
                there.pop(body_id, None)
                continue
            factors = self._layout.links[pose.link]
            x, y, z = (o + f * p for o, f, p in zip(pose.offset, factors, q, strict=True))
            body = self._geometry[pose.geometry].on(pose.link, pose.offset)
            there[body_id] = BodyAt(body_id, body, (x, y, z), pose.turn_deg)
        return tuple(there.values())

    def spindle_at(self, t: float) -> tuple[float, float]:
        """The spindle's angle (rad, not wrapped) and speed (rev/min)."""
        rows = [row for row in self._layout.spindle if row[0] <= t]
        if not rows:
            return 0.0, 0.0
        start, angle, rpm = rows[-1]
        return angle + rpm * math.tau / 60.0 * (t - start), rpm

    def signal_at(self, signal: str, t: float) -> int | None:
        """A signal's level at ``t``; None before its first edge."""
        levels = [level for time, name, level in self._layout.edges if name == signal and time <= t]
        return levels[-1] if levels else None

    def edges_of(self, signal: str) -> tuple[tuple[float, int], ...]:
        """All edges of one signal: (time, level)."""
        return tuple((t, level) for t, name, level in self._layout.edges if name == signal)

    @cached_property
    def signals(self) -> tuple[str, ...]:
        """Every signal that ever changed, in order of its first edge."""
        return tuple(dict.fromkeys(name for _, name, _ in self._layout.edges))

    @property
    def events(self) -> tuple[Event, ...]:
        """Everything that happened, in order."""
        return tuple(self._events)

    def events_between(self, t0: float, t1: float, kind: str | None = None) -> tuple[Event, ...]:
        """Events with ``t0 <= t <= t1``, of one kind or all."""
        first = bisect_right(self._event_times, math.nextafter(t0, -math.inf))
        last = bisect_right(self._event_times, t1)
        return tuple(e for e in self._events[first:last] if kind is None or e.kind == kind)

    def beliefs_at(self, t: float) -> dict[str, Any]:
        """The controller's tables at ``t``, by key, as far as they were ever changed."""
        return {key: value for time, key, value in self._layout.beliefs if time <= t}
