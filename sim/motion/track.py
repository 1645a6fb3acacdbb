"""The commanded path of one line, and when it passes a level, a speed or an acceleration."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from itertools import islice

from drytouch.sim.errors import InputError
from drytouch.sim.motion.pieces import Piece, State, position, rest, speed

# Plans are laid end to end; a wider gap than this is a caller's mistake, not rounding.
JOINT_MM = 1e-6
JOINT_S = 1e-9
# Newton doubles its digits at each step; halving alone settles any bracket within this many.
MOST_STEPS = 80
# A Newton step of this fraction of a piece squares to less than the last bit of its duration.
SMALL_STEP = 1e-10


class Track:
    """Pieces in order of time, at rest before the first and after the last.

    ``s`` (mm) and ``t`` (s): where and when the line begins, at rest. A line whose command jumps
    (a drive that faults) is over; the next one starts a new track.
    """

    __slots__ = ("_end_s", "_end_time", "_pieces", "_start_s", "_starts")

    def __init__(self, s: float = 0.0, t: float = 0.0) -> None:
        self._pieces: list[Piece] = []
        self._starts: list[float] = []
        self._start_s = self._end_s = s
        self._end_time = t

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All pieces still kept, in order."""
        return tuple(self._pieces)

    @property
    def end_time(self) -> float:
        """Time in s at which the last piece ends."""
        return self._end_time

    @property
    def end_s(self) -> float:
        """Position in mm at which the last piece ends; exactly the goal of the plan."""
        return self._end_s

    def append(self, pieces: Iterable[Piece]) -> None:
        """Add a plan. Time between the present end and its start is filled with rest.

        Raises InputError when it starts before the present end (``cut`` first) or elsewhere.
        """
        for piece in pieces:
            if piece.t0 < self._end_time - JOINT_S or abs(piece.s0 - self._end_s) > JOINT_MM:
                raise InputError(
                    f"piece starts at {piece.t0!r} s, {piece.s0!r} mm; expected not before"
                    f" {self._end_time!r} s and at {self._end_s!r} mm",
                    fix="cut the track at that time and plan from the state that cut returns",
                )
            if piece.t0 > self._end_time + JOINT_S:
                self._add(rest(self._end_time, piece.t0, self._end_s))
            # A piece of no duration still may carry the exact goal.
            if piece.t1 > piece.t0 or piece.s1 != self._end_s or not self._pieces:
                self._add(piece)

    def _add(self, piece: Piece) -> None:
        self._pieces.append(piece)
        self._starts.append(piece.t0)
        self._end_time, self._end_s = piece.t1, piece.s1

    def cut(self, t: float) -> State:
        """Drop everything after ``t`` (s), shorten the piece under it; returns the state there."""
        here = self.state_at(t)
        pieces, starts = self._pieces, self._starts
        while starts and starts[-1] >= t:
            pieces.pop()
            starts.pop()
        if not pieces:
            self._end_s = self._start_s = here.s
            self._end_time = t
        elif t < self._end_time:
            last = pieces[-1]
            if last.t1 > t:
                pieces[-1] = last = last._replace(t1=t, s1=here.s)
            self._end_time, self._end_s = last.t1, last.s1
        return here

    def discard_before(self, t: float) -> list[Piece]:
        """Drop and return the pieces that ended at or before ``t`` (s), all but the very last."""
        count = 0
        while count < len(self._pieces) - 1 and self._pieces[count].t1 <= t:
            count += 1
        gone = self._pieces[:count]
        if count:
            del self._pieces[:count], self._starts[:count]
            self._start_s = self._pieces[0].s0
        return gone

    def state_at(self, t: float) -> State:
        """State at ``t`` (s): the later piece's at a joint, at rest outside the track."""
        if t >= self._end_time:
            return State(self._end_s, 0.0, 0.0)
        i = bisect_right(self._starts, t) - 1
        if i < 0:
            return State(self._start_s, 0.0, 0.0)
        # pieces.position, speed and acceleration laid open: this is asked at every event.
        t0, _, s0, v0, a0, jerk, s1 = self._pieces[i]
        dt = t - t0
        half = 0.5 * dt * jerk
        s = s0 + dt * (v0 + dt * (0.5 * a0 + dt * jerk / 6.0))
        v = v0 + dt * (a0 + half)
        if s1 >= s0:
            s = s1 if s > s1 else s0 if s < s0 else s
            v = v if v > 0.0 else 0.0
        else:
            s = s1 if s < s1 else s0 if s > s0 else s
            v = v if v < 0.0 else 0.0
        return State(s, v, a0 + dt * jerk)

    def crossing(self, level: float, since: float, rising: bool = True) -> float | None:
        """First time in s, not before ``since``, at which the path comes to ``level`` (mm).

        It must come from below, or from above when ``rising`` is False; None if it never does.
        Exact comparisons: a level equal to the end position is reached exactly at ``end_time``
        (if the path moves there), one equal to the position at rest is reached now.
        """
        pieces = self._pieces
        if since >= self._end_time or not pieces:
            return since if level == self._end_s else None
        i = bisect_right(self._starts, since) - 1
        if i < 0:
            if level == self._start_s:
                return since
            i = 0
        s = position(pieces[i], since) if since > pieces[i].t0 else pieces[i].s0
        for piece in islice(pieces, i, None) if i else pieces:
            s1 = piece.s1
            if s == level and (s1 >= s if rising else s1 <= s):
                return max(since, piece.t0)
            if (s < level <= s1) if rising else (s > level >= s1):
                t = _time_at(piece, level)
                return t if t > since else since
            s = s1
        return self._end_time if s == level else None

    def speed_crossing(self, level: float, since: float, rising: bool = True) -> float | None:
        """First time in s, not before ``since``, at which the speed comes to ``level`` (mm/s).

        From below, or from above when ``rising`` is False; None if it never does. A speed already
        at the level counts as coming to it now.
        """
        side = 1.0 if rising else -1.0
        for piece in self._pieces:
            if piece.t1 <= since:
                continue
            start = max(piece.t0, since)
            gap = side * (level - speed(piece, start))
            if gap == 0.0:
                return start
            if gap > 0.0:
                dt = _first_root(
                    -gap,
                    side * (piece.a0 + (start - piece.t0) * piece.jerk),
                    0.5 * side * piece.jerk,
                )
                if dt is not None and start + dt <= piece.t1:
                    return start + dt
        return None

    def first_time_acceleration_reaches(self, level_abs: float, since: float) -> float | None:
        """First time in s, not before ``since``, with an acceleration of ``level_abs`` (mm/s^2).

        Either sign counts, and so does a jump past it; None if it never comes to that.
        """
        if level_abs <= 0.0:
            return since
        for piece in self._pieces:
            if piece.t1 <= since:
                continue
            start = max(piece.t0, since)
            a = piece.a0 + (start - piece.t0) * piece.jerk
            if abs(a) >= level_abs:
                return start
            if piece.jerk != 0.0:
                t = start + (math.copysign(level_abs, piece.jerk) - a) / piece.jerk
                if t <= piece.t1:
                    return t
        return None


def _first_root(c: float, b: float, a: float) -> float | None:
    """Least x > 0 with a*x^2 + b*x + c = 0, for c < 0; None if there is none."""
    if a == 0.0:
        return -c / b if b > 0.0 else None
    inside = b * b - 4.0 * a * c
    if inside < 0.0:
        return None
    # Written so that like signs are added: the small root keeps its digits.
    root = math.sqrt(inside)
    if b >= 0.0:
        return -2.0 * c / (b + root) if b + root > 0.0 else None
    return (root - b) / (2.0 * a) if a > 0.0 else None


def _time_at(piece: Piece, level: float) -> float:
    """Time at which a monotone piece is at ``level``, which lies between its ends."""
    t0, t1, s0, v0, a0, jerk, s1 = piece
    if level == s1:
        return t1
    span = t1 - t0
    gap = level - s0
    if a0 == 0.0 and jerk == 0.0:
        return min(t0 + gap / v0, t1)
    half_a, sixth_j, half_j = 0.5 * a0, jerk / 6.0, 0.5 * jerk
    rising = s1 >= s0
    low, high = 0.0, span
    small = SMALL_STEP * span
    share = gap / (s1 - s0)
    # From rest the cube root is all but exact.
    dt = span * (share ** (1.0 / 3.0) if v0 == 0.0 and a0 == 0.0 else share)
    for _ in range(MOST_STEPS):
        short = gap - dt * (v0 + dt * (half_a + dt * sixth_j))
        if (short > 0.0) is rising:
            low = dt
        else:
            high = dt
        v = v0 + dt * (a0 + dt * half_j)
        following = dt + short / v if v != 0.0 else high
        if not low <= following <= high:
            following = 0.5 * (low + high)
        step = following - dt
        dt = following
        if -small <= step <= small:
            break
    return min(t0 + dt, t1)
