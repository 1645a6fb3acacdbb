"""Detents that were turned while the axis was still on its way: every one counts."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

# Somebody who turns faster than the axis follows would see it run on for long after the hand
# has stopped: two turns of a wheel with a hundred detents are kept, further ones are dropped.
MOST_DETENTS = 200


class Turn(NamedTuple):
    """Detents of one signed size on one axis."""

    axis: str
    by_mm: float
    detents: int


class Waiting:
    """Turns in the order in which they were made; to and fro by the same size adds up."""

    def __init__(self) -> None:
        self._turns: deque[Turn] = deque()

    def __bool__(self) -> bool:
        return bool(self._turns)

    def add(self, turn: Turn) -> int:
        """Keep a turn; how many of its detents there was no room for."""
        last = self._turns[-1] if self._turns else None
        if last is not None and (last.axis, abs(last.by_mm)) == (turn.axis, abs(turn.by_mm)):
            self._turns.pop()
            turn = _sum(last, turn)
        room = MOST_DETENTS - sum(other.detents for other in self._turns)
        kept = turn._replace(detents=min(turn.detents, room))
        if kept.detents > 0:
            self._turns.append(kept)
        return turn.detents - kept.detents

    def take(self) -> Turn:
        """The next turn, which then waits no more.

        Raises:
            IndexError: nothing waits.
        """
        return self._turns.popleft()

    def clear(self) -> None:
        """What waited is void."""
        self._turns.clear()


def _sum(last: Turn, turn: Turn) -> Turn:
    """Two turns by the same size as one; none at all is a turn of no detents."""
    if last.by_mm == turn.by_mm:
        return last._replace(detents=last.detents + turn.detents)
    left = last.detents - turn.detents
    return last._replace(detents=left) if left >= 0 else turn._replace(detents=-left)
