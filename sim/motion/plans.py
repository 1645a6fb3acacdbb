"""Plans: lists of pieces that take an axis, or a straight line, from a state to where it should be.

Every plan runs forward only: once under way, a line never backs up to reach its goal. A plan that
has nothing to do is one piece of no duration, so ``plan[-1]`` always says where and when it ends.
"""

from __future__ import annotations

import math

from drytouch.sim.errors import InputError
from drytouch.sim.motion.limits import Limits
from drytouch.sim.motion.pieces import Piece, State
from drytouch.sim.motion.ramps import (
    Ramps,
    distance_of,
    peak_speed,
    ramps,
    ramps_distance,
    root_from_below,
    steady_stop_distance,
)

# A goal this much nearer or further than the stopping distance is met by the plain stop. A state
# read at 10,000 s carries 2e-12 s of rounding, 5e-10 mm at 250 mm/s; creeping over that much would
# take a millisecond, while encoders resolve 1e-5 mm at best.
ARRIVAL_MM = 1e-9
# Speeds this far below zero are rounding at the end of a stop; anything further is a mistake.
BACKWARD_MM_PER_S = 1e-6
# Rounding in a speed that was read from a running plan; no limit needs breaking for its sake.
NOISE_MM_PER_S = 1e-9


class _Run:
    """Lays pieces end to end; speeds and accelerations at the joints are given, not summed up."""

    __slots__ = ("a", "pieces", "s", "t", "v")

    def __init__(self, state: State, t0: float) -> None:
        self.s, self.v, self.a = state
        if self.v < 0.0:
            if self.v < -BACKWARD_MM_PER_S:
                raise InputError(f"speed {self.v:g} mm/s, expected a line that runs forward")
            self.v = 0.0
        if self.v == 0.0 and self.a < 0.0:
            self.a = 0.0  # already at rest: what is left of the brake has nothing to work on
        self.t = t0
        self.pieces: list[Piece] = []

    def phase(self, dt: float, jerk: float, v1: float, a1: float) -> None:
        """Run on for ``dt`` at ``jerk``, known to end at speed ``v1`` and acceleration ``a1``."""
        t0, s0 = self.t, self.s
        t1 = t0 + dt
        if t1 > t0:
            s1 = s0 + dt * (self.v + dt * (0.5 * self.a + dt * jerk / 6.0))
            if s1 < s0:
                s1 = s0
            self.pieces.append(Piece(t0, t1, s0, self.v, self.a, jerk, s1))
            self.t, self.s = t1, s1
        self.v, self.a = v1, a1

    def follow(self, phases: Ramps, target: float) -> None:
        """Lay out a change of speed from the present state to ``target``."""
        t1, j1, v_in, peak, t2, v_out, t3, j3 = phases
        if t1 > 0.0:
            self.phase(t1, j1, v_in, peak)
        if t2 > 0.0:
            self.phase(t2, 0.0, v_out, peak)
        if t3 > 0.0:
            self.phase(t3, j3, target, 0.0)
        self.v, self.a = target, 0.0

    def to_speed(self, target: float, acceleration: float, jerk: float) -> None:
        self.follow(ramps(self.v, self.a, target, acceleration, jerk), target)

    def let_go(self, jerk: float) -> None:
        """Ramp the acceleration to nothing, whatever speed that leads to.

        A braking that would run backwards before ``jerk`` could let it go is let go with the least
        jerk that doesn't. No state on a plan of the same limits is like that; one that comes from
        a harder stop is.
        """
        v, a = self.v, self.a
        end = v + a * abs(a) / (2.0 * jerk)
        if end < -NOISE_MM_PER_S:
            self.phase(-2.0 * v / a, a * a / (2.0 * v), 0.0, 0.0)
        else:
            self.phase(abs(a) / jerk, math.copysign(jerk, -a), max(end, 0.0), 0.0)

    def must_let_go(self, jerk: float) -> bool:
        """Whether braking as hard as now takes the speed below zero, if only by rounding."""
        return self.a < 0.0 and self.a * self.a > 2.0 * jerk * self.v

    def finish(self, goal: float | None = None) -> list[Piece]:
        """Hand over the pieces, the last of which ends exactly on ``goal`` where one is given."""
        pieces = self.pieces
        if not pieces:
            end = self.s if goal is None else goal
            return [Piece(self.t, self.t, min(self.s, end), self.v, 0.0, 0.0, end)]
        if goal is None:
            return pieces
        i = len(pieces) - 1
        while True:
            t0, t1, s0, v0, a0, jerk, _ = pieces[i]
            # Rounding may have put a joint past the goal as well; then that moves back, too.
            pieces[i] = Piece(t0, t1, min(s0, goal), v0, a0, jerk, goal)
            if s0 <= goal or i == 0:
                return pieces
            i -= 1


def to_speed(state: State, t0: float, speed: float, limits: Limits) -> list[Piece]:
    """From any ``state`` at ``t0`` (s) to steady ``speed`` (mm/s), forward only.

    ``limits.speed`` isn't looked at. The last piece ends at ``speed``, not at rest. Raises
    InputError for a negative speed or a state that runs backwards.
    """
    if not speed >= 0.0:
        raise InputError(f"speed {speed:g} mm/s, expected 0 or more")
    run = _Run(state, t0)
    if run.must_let_go(limits.jerk):
        run.let_go(limits.jerk)
    run.to_speed(speed, limits.acceleration, limits.jerk)
    return run.finish()


def stop(state: State, t0: float, limits: Limits) -> list[Piece]:
    """From any ``state`` at ``t0`` (s) to rest, as soon as ``limits`` allow.

    A stop never softens while it runs: whoever plans a second stop over a running one must pass
    the limits the first was started with, or the harder of both (``limits.harder``). If softer
    limits come in all the same, and would take the line backwards, the jerk is raised until it
    just comes to rest. ``limits.speed`` isn't looked at.
    """
    return to_speed(state, t0, 0.0, limits)


def stop_time(v: float, limits: Limits) -> float:
    """Time in s to stop from steady speed ``v`` (mm/s)."""
    _, a, jerk = limits
    if v * jerk >= a * a:
        return v / a + a / jerk
    return 2.0 * math.sqrt(v / jerk)


def stop_distance(v: float, limits: Limits) -> float:
    """Path in mm to stop from steady speed ``v`` (mm/s)."""
    return steady_stop_distance(v, limits.acceleration, limits.jerk)


def stop_distance_from(state: State, limits: Limits) -> float:
    """Path in mm to stop from any ``state``; the length of what ``stop`` lays out."""
    _, v, a = state
    jerk = limits.jerk
    if v <= 0.0 and a <= 0.0:
        return 0.0
    if a < 0.0 and a * a > 2.0 * jerk * v:
        return -2.0 * v * v / (3.0 * a)
    return ramps_distance(v, a, 0.0, limits.acceleration, jerk)


def to_goal(state: State, t0: float, goal_s: float, limits: Limits) -> list[Piece]:
    """From any ``state`` at ``t0`` (s) to rest at ``goal_s`` (mm), forward only.

    A change of speed to a peak, a cruise, a stop. The last piece ends exactly at ``goal_s``,
    unless the goal is nearer than the stopping distance (or behind): then this is ``stop``, and
    the last piece's ``s1`` lies past the goal. Above ``limits.speed`` (a lowered override) it
    slows down at once, as far as the goal leaves room for that. Raises InputError when
    ``limits.speed`` isn't positive: a speed of nothing is a hold, which is the caller's to make.
    """
    if not limits.speed > 0.0:
        raise InputError("speed limit 0 mm/s, expected more", fix="hold instead")
    _, acceleration, jerk = limits
    run = _Run(state, t0)
    if run.must_let_go(jerk):
        run.let_go(jerk)
    distance, v, a = goal_s - run.s, run.v, run.a
    halt = ramps(v, a, 0.0, acceleration, jerk)
    beyond = distance - distance_of(halt, v, a, 0.0)
    if beyond <= ARRIVAL_MM:
        run.follow(halt, 0.0)
        return run.finish(goal_s if beyond >= -ARRIVAL_MM else None)
    top = limits.speed
    direct = ramps(v, a, top, acceleration, jerk)
    halting = steady_stop_distance(top, acceleration, jerk)
    if distance_of(direct, v, a, top) + halting <= distance:
        run.follow(direct, top)
        peak = top
    else:
        coasting = max(v + a * abs(a) / (2.0 * jerk), 0.0)
        reachable = _peak(v, a, coasting, distance, limits)
        if reachable is None:
            _ease(run, distance, acceleration, jerk)
            return run.finish(goal_s)
        peak = reachable
        if peak == coasting:
            # By itself: the general ramps lose half their digits where they degenerate to this.
            run.let_go(jerk)
        else:
            run.to_speed(peak, acceleration, jerk)
        halting = steady_stop_distance(peak, acceleration, jerk)
    left = goal_s - run.s - halting
    if left > 0.0 and peak > 0.0:
        run.phase(left / peak, 0.0, peak, 0.0)
    run.to_speed(0.0, acceleration, jerk)
    return run.finish(goal_s)


def _peak(v: float, a: float, coasting: float, distance: float, limits: Limits) -> float | None:
    """The speed to change to on a move too short for ``limits.speed``; None to ease a braking.

    ``coasting``: the speed (mm/s) that simply letting the acceleration go leads to.
    """
    top, acceleration, jerk = limits
    dt = abs(a) / jerk
    path = dt * (v + a * dt / 3.0)
    # Letting an acceleration go, then stopping, is the shortest stop: there is always room for it.
    if a < 0.0 and path + steady_stop_distance(coasting, acceleration, jerk) > distance:
        return None
    if coasting <= top:
        return peak_speed(v, a, coasting, top, distance, acceleration, jerk)

    def excess(peak: float) -> float:
        return (
            ramps_distance(v, a, peak, acceleration, jerk)
            + steady_stop_distance(peak, acceleration, jerk)
            - distance
        )

    # Too fast for the limit, too near to slow down to it first: slow down as far as there is room.
    return root_from_below(excess, coasting, top)


def _ease(run: _Run, distance: float, acceleration: float, jerk: float) -> None:
    """Let go a part of a braking, then stop: for a goal a little past where it would end.

    A two-step braking by way of a lower speed would reach it too, but its path isn't a monotone
    function of that speed; how far the brake is eased is.
    """
    v, a = run.v, run.a

    def eased(a1: float) -> tuple[float, float, float]:
        dt = (a1 - a) / jerk
        return dt, v + (a1 * a1 - a * a) / (2.0 * jerk), dt * (v + dt * (0.5 * a + dt * jerk / 6.0))

    def excess(a1: float) -> float:
        _, v1, path = eased(a1)
        return path + ramps_distance(v1, a1, 0.0, acceleration, jerk) - distance

    a1 = root_from_below(excess, a, 0.0)
    dt, v1, _ = eased(a1)
    run.phase(dt, jerk, v1, a1)
    run.to_speed(0.0, acceleration, jerk)


def coast(state: State, t0: float, deceleration: float) -> list[Piece]:
    """Run down to rest with the power off, at a constant ``deceleration`` (mm/s^2, friction).

    Whatever acceleration the drive was giving is dropped at once. Raises InputError unless the
    deceleration is positive.
    """
    if not deceleration > 0.0:
        raise InputError(f"deceleration {deceleration:g} mm/s^2, expected more than 0")
    run = _Run(state, t0)
    run.a = -deceleration
    run.phase(run.v / deceleration, 0.0, 0.0, 0.0)
    return run.finish()


def drop(t0: float, distance: float, brake_time: float) -> list[Piece]:
    """The sag (mm) of a vertical axis from power off at ``t0`` (s) until its brake holds.

    The head gains speed evenly for half of ``brake_time`` (s) and loses it evenly in the other
    half. Even, because its weight and the closing brake are constant forces; in halves, because a
    holding brake is commonly sized for twice the load it holds, which slows a falling head as
    hard as its weight sped it up. Reasoned, not measured: only ``distance`` and ``brake_time``
    are data. Raises InputError unless both are positive (or both 0: no sag).
    """
    if distance == 0.0:
        return [Piece(t0, t0, 0.0, 0.0, 0.0, 0.0, 0.0)]
    if not (distance > 0.0 and brake_time > 0.0):
        raise InputError(f"sag {distance:g} mm in {brake_time:g} s, expected both more than 0")
    half = 0.5 * brake_time
    pull = distance / (half * half)
    middle, end = t0 + half, t0 + brake_time
    return [
        Piece(t0, middle, 0.0, 0.0, pull, 0.0, 0.5 * distance),
        Piece(middle, end, 0.5 * distance, pull * half, -pull, 0.0, distance),
    ]
