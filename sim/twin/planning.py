"""Laying a line out from the state and the flags, and timing its path levels."""

from __future__ import annotations

from math import inf

from drytouch.sim.motion import (
    Limits,
    State,
    from_rest,
    stop,
    to_goal,
    with_feed_override,
    with_rapid_override,
)
from drytouch.sim.twin.line import LEAST_MOVE_MM, Line
from drytouch.sim.twin.signalling import Signalling

_AT_START = State(0.0, 0.0, 0.0)


class Planning(Signalling):
    """The plan is a function of state and flags alone, so ties of commands can't matter."""

    def plan(self, t: float) -> None:
        """Lay the rest of the line out from the state at ``t`` and the flags."""
        line = self.line
        if line is None or line.kind in ("coast", "sag"):
            return
        track = line.track
        if track.end_time <= t and line.arrives:
            return  # the command has arrived; only the axis' delay is left to run out
        limits = self._wanted(line)
        if limits is None and line.braking:
            self._set_rest(line, t)
            return
        state = track.cut(t)
        if t == line.cut_time:
            # A plan begins within a last bit of the state it was made from; two commands at one
            # instant must both start from what was there before either.
            state = line.cut_state
        line.cut_time, line.cut_state = t, state
        if limits is None:
            line.braking = True
            if state.v != 0.0 or state.a != 0.0:
                track.append(stop(state, t, line.limits))
        elif state == _AT_START:
            line.braking = False
            track.append(from_rest(line.goal, limits, t))
        else:
            line.braking = False
            track.append(to_goal(state, t, line.goal, limits))
        if limits is not None and limits.speed > line.peak_speed:
            line.peak_speed = limits.speed
        self._set_rest(line, t)
        self._retime(line, t)

    def _wanted(self, line: Line) -> Limits | None:
        """Limits for going on to the goal, or None to stop; sets whether the stop is a pause."""
        line.paused = False
        if self.estopped or line.stopping or line.released:
            return None
        habits = self.machine.habits
        touch = line.kind == "touch"
        if self.hold and (habits.touch_obeys_feed_hold or not touch):
            line.paused = True
            return None
        if line.feed is None:
            limits = with_rapid_override(line.limits, self.rapid_override)
        else:
            scale = 1.0 if touch and not habits.touch_obeys_override else self.feed_override
            if line.kind in ("jog", "step", "home", "return"):
                scale = 1.0
            limits = with_feed_override(line.limits, line.feed, scale)
        line.paused = limits is None
        return limits

    def _set_rest(self, line: Line, t: float) -> None:
        """The line ends when the actual axis arrives."""
        if line.paused and not line.stopping and not line.arrives:
            self.agenda.clear("rest")  # a stop that ends at the goal needs no going on
        else:
            self.agenda.set("rest", max(line.track.end_time + line.delay, t))

    def _retime(self, line: Line, t: float) -> None:
        """When each path level is passed, after a re-plan."""
        track, delay = line.track, line.delay
        since = t - delay
        for slot, s in self.targets.items():
            at = track.crossing(s, since)
            self.agenda.set(slot, None if at is None else at + delay)
        if line.block < inf:
            self._time_fault(line, t)

    def _aim(self, slot: str, s: float | None, line: Line, t: float) -> None:
        """A further path level to watch for, found while the line runs."""
        if s is None:
            return
        self.targets[slot] = s
        at = line.track.crossing(s, t - line.delay)
        if at is None and line.track.state_at(t - line.delay).s >= s:
            at = t - line.delay  # passed already, by rounding: a plate trips where it is touched
        self.agenda.set(slot, None if at is None else max(at + line.delay, t))

    def _time_fault(self, line: Line, t: float) -> None:
        u = line.direction
        if self.stepper:
            give = min(
                axis.thrust_limit_N / axis.stiffness_N_per_mm / abs(u[i])
                for i, axis in enumerate(self.axes)
                if abs(u[i]) > LEAST_MOVE_MM
            )
            slot = "stall"
        else:
            give = min(
                axis.following_error_limit_mm / abs(u[i])
                for i, axis in enumerate(self.axes)
                if abs(u[i]) > LEAST_MOVE_MM
            )
            slot = "fault"
        level_s = line.block + give - line.carried
        # The error is between the command itself, not the delayed one, and the actual axis.
        reached = line.track.state_at(t).s
        at = t if reached >= level_s else line.track.crossing(level_s, t)
        if not line.stalled:
            self.agenda.set(slot, at)

    def _stop(self, t: float) -> None:
        line = self.line
        if line is None:
            return
        line.stopping = True
        self.plan(t)

    def _limit(self, t: float) -> None:
        line = self.line
        assert line is not None
        self.targets.pop("limit", None)
        line.stopping = True
        line.outcome = line.outcome or "limit"  # an emergency stop stays one
        self.judge.limit(line, t)
        self.plan(t)
