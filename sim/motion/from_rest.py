"""Moves from rest to rest, planned by ruckig and remembered."""

from __future__ import annotations

import math
from functools import lru_cache

from ruckig import InputParameter, Ruckig, RuckigError, Trajectory

from drytouch.sim.errors import InputError
from drytouch.sim.motion.limits import Limits
from drytouch.sim.motion.pieces import Piece
from drytouch.sim.motion.plans import ARRIVAL_MM

# Trials repeat the same few moves thousands of times; a program has a few hundred distinct ones.
REMEMBERED = 512

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
    except RuckigError as error:
        # Its own words list every field of its input; the four that matter are these.
        raise InputError(f"no move of {length:g} mm under {limits} can be planned") from error
    profile = trajectory.profiles[0][0]
    return _phases(profile.t, profile.j, profile.a, profile.v, profile.p, length)


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
    phases[-1] = (*phases[-1][:4], length)
    return tuple(phases)
