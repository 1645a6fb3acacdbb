"""One agenda of named slots on SimPy's clock.

A slot is a name and a time. Writing a slot again replaces it, so that nothing ever has to be
cancelled by token or interrupt. One armed timeout rings for the earliest slot; a ring that comes
too early finds nothing due and is harmless.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import simpy

Handler = Callable[[float], None]

# Which of several things at one instant comes first. Physics before what it causes.
RANKS = (
    "hard",
    "limit",
    "solid",
    "contact",
    "close",
    "open",
    "leave",
    "free",
    "noise",
    "edge",
    "filter",
    "scan",
    "fault",
    "stall",
    "power",
    "stop",
    "rest",
    "person",
)
_NEVER = float("inf")


class Agenda:
    """Slots by name; ``settle`` handles all that is due, each at its own time.

    A slot's rank among ties comes from the first word of its name: ``"scan 1"`` ranks as
    ``"scan"``.
    """

    def __init__(self, env: simpy.Environment) -> None:
        self.env = env
        self.time = 0.0
        self.events = 0
        self._slots: dict[str, float] = {}
        self._rank: dict[str, int] = {}
        self._handlers: dict[str, Handler] = {}
        self._armed = _NEVER

    def register(self, name: str, handler: Handler) -> None:
        """Say what handles slot ``name``."""
        self._rank[name] = RANKS.index(name.split()[0])
        self._handlers[name] = handler

    def set(self, name: str, time: float | None) -> None:
        """Write slot ``name``; None clears it. A time in the past counts as now."""
        if time is None:
            self._slots.pop(name, None)
        else:
            self._slots[name] = time

    def clear(self, *names: str) -> None:
        """Empty these slots."""
        for name in names:
            self._slots.pop(name, None)

    def due(self, name: str) -> float | None:
        """When slot ``name`` is due, or None."""
        return self._slots.get(name)

    def now(self) -> float:
        """The physics' time: SimPy's clock, or the last slot's own time where rounding of
        ``now + delay`` has put the clock an ulp or so beside it.
        """
        clock = float(self.env.now)
        return self.time if abs(clock - self.time) < 1e-9 else clock

    def settle(self, now: float) -> None:
        """Handle every slot due at or before ``now``, in order of time, then rank."""
        slots, rank = self._slots, self._rank
        while slots:
            first, when = "", _NEVER
            for name, time in slots.items():
                if time < when or (time == when and rank[name] < rank[first]):
                    first, when = name, time
            if when > now:
                break
            del slots[first]
            if when > self.time:
                self.time = when
            self.events += 1
            self._handlers[first](self.time)
        if now > self.time and now - self.time >= 1e-9:
            self.time = now

    def arm(self) -> None:
        """Have SimPy ring at the earliest slot."""
        if not self._slots:
            return
        first = min(self._slots.values())
        if first >= self._armed and self._armed > self.env.now:
            return
        self._armed = first
        delay = first - self.env.now
        timeout = self.env.timeout(delay if delay > 0.0 else 0.0)
        timeout.callbacks.append(self._ring)

    def _ring(self, _event: Any) -> None:
        self._armed = _NEVER
        self.settle(self.env.now)
        self.arm()

    def command(self) -> float:
        """Bring physics up to now before a command changes anything; return the time."""
        self.settle(self.env.now)
        return self.now()
