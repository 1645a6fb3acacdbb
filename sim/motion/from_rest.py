"""Moves from rest to rest, planned by ruckig and remembered."""

from __future__ import annotations

import math
from functools import lru_cache

from ruckig import InputParameter, Ruckig, RuckigError, Trajectory

from drytouch.sim.errors import InputError
from drytouch.sim.motion.limits import Limits
from drytouch.sim.motion.pieces import Piece, State
from drytouch.sim.motion.plans import ARRIVAL_MM, to_goal

# Trials repeat the same few moves thousands of times; a program has a few hundred distinct ones.
REMEMBERED = 512

# A move that takes longer, 30 years, is a mistake in its limits.
LONGEST_S = 1e9

# Making a planner costs three times a plan, and what it plans depends on its input alone.
_PLANNER = Ruckig(1)
# A named tuple's own constructor does this with a second call around it: a third of a plan's time.
_TUPLE = tuple.__new__

# Of one phase: end time (s), speed, acceleration and jerk at its start, end position (mm).
Phase = tuple[float, float, float, float, float]


def from_rest(length: float, limits: Limits, t0: float, s0: float = 0.0) -> list[Piece]:
    """From rest at ``s0`` (mm) at ``t0`` (s) to rest ``length`` (mm) further on.

    The last piece ends exactly at ``s0 + length``; a length of no more than ``ARRIVAL_MM`` (of
    either sign: rounding) takes no time. Raises InputError for a negative length, or limits that
    aren't positive and finite.
    """
    if abs(length) <= ARRIVAL_MM:
        return [Piece(t0, t0, s0, 0.0, 0.0, 0.0, s0 + length)]
    pieces: list[Piece] = []
    t, s, goal = t0, s0, s0 + length
    for end, v, a, jerk, s_end in relative_profile(length, limits):
        t1, s1 = t0 + end, s0 + s_end
        # A phase of 1e-16 s vanishes in the last bit of a later time.
        if t1 > t:
            pieces.append(_TUPLE(Piece, (t, t1, s, v, a, jerk, s1)))
            t, s = t1, s1
    if s != goal:
        pieces[-1] = pieces[-1]._replace(s1=goal)
    return pieces


@lru_cache(maxsize=REMEMBERED)
def relative_profile(length: float, limits: Limits) -> tuple[Phase, ...]:
    """The same move from s = 0 at t = 0; a pure function, so remembering can't change a bit."""
    if not all(0.0 < value < math.inf for value in (length, *limits)):
        raise InputError(
            f"move of {length:g} mm under {limits}, expected all more than 0 and finite"
        )
    plan = InputParameter(1)
    plan.current_position, plan.target_position = [0.0], [length]
    plan.max_velocity, plan.max_acceleration, plan.max_jerk = ([limit] for limit in limits)
    trajectory = Trajectory(1)
    try:
        _PLANNER.calculate(plan, trajectory)
    except RuckigError:
        # To a last bit as long as a move that just reaches its highest acceleration, or its
        # highest speed: ruckig's cases exclude each other there and none is left.
        return _by_hand(length, limits)
    profile = trajectory.profiles[0][0]
    found = _phases(profile.t, profile.j, profile.a, profile.v, profile.p, length)
    # Of some moves of a few nanometres ruckig says that they take no time at all.
    return found or _by_hand(length, limits)


def _by_hand(length: float, limits: Limits) -> tuple[Phase, ...]:
    """The same move by the plans for moves that are under way; a few times slower."""
    if length / limits.speed > LONGEST_S:
        raise InputError(f"no move of {length:g} mm under {limits} can be planned")
    plan = to_goal(State(0.0, 0.0, 0.0), 0.0, length, limits)
    return tuple((piece.t1, piece.v0, piece.a0, piece.jerk, piece.s1) for piece in plan)


def _phases(
    durations: list[float],
    jerks: list[float],
    accelerations: list[float],
    speeds: list[float],
    positions: list[float],
    length: float,
) -> tuple[Phase, ...]:
    phases: list[Phase] = []
    end = s_end = 0.0
    for i, dt in enumerate(durations):
        start, end = end, end + dt
        if end > start:
            # On a long move the sum of the phases may pass the length by a last bit.
            s_end = max(s_end, min(positions[i + 1], length))
            phases.append((end, speeds[i], accelerations[i], jerks[i], s_end))
    if phases:
        phases[-1] = (*phases[-1][:4], length)
    return tuple(phases)
