"""One agenda of named slots on SimPy's clock.

A slot is a name and a time. Writing a slot again replaces it, so that nothing ever has to be
cancelled by token or interrupt. The clock asks the agenda before each of SimPy's own events: what
physics has to do at or before that time comes first, at its own exact time.
"""

from __future__ import annotations

from collections.abc import Callable

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


class Clock(simpy.Environment):
    """SimPy's environment with one agenda beside its queue.

    A timeout per slot would cost more than most handlers do (measured: a third of a touch-off),
    and ``now + (t - now)`` can miss ``t`` by a bit; here the clock goes to the slot's own time.
    """

    def __init__(self) -> None:
        super().__init__()
        self.agenda = Agenda(self)
        self.limit = _NEVER  # physics alone never runs past this time, s

    def peek(self) -> float:
        """Time of whatever comes next, s."""
        return min(self._queue[0][0] if self._queue else _NEVER, self.agenda.first())

    def step(self) -> None:
        """Physics up to the next event's time, then that event."""
        queued = self._queue[0][0] if self._queue else _NEVER
        first = self.agenda.first()
        if first <= queued and first < _NEVER:
            self.agenda.settle(max(first, min(queued, self.limit)))
        else:
            super().step()

    def lead(self, time: float, now: float) -> float:
        """Physics is at ``time``; how far it may go before one of SimPy's events is due."""
        if time > self._now:
            self._now = time
        queue = self._queue
        return queue[0][0] if queue and queue[0][0] < now else now


class Agenda:
    """Slots by name; ``settle`` handles all that is due, each at its own time.

    A slot's rank among ties comes from the first word of its name: ``"scan 1"`` ranks as
    ``"scan"``.
    """

    __slots__ = ("_handlers", "_rank", "_slots", "env", "events", "time")

    def __init__(self, env: Clock) -> None:
        self.env = env
        self.time = 0.0
        self.events = 0
        self._slots: dict[str, float] = {}
        self._rank: dict[str, int] = {}
        self._handlers: dict[str, Handler] = {}

    def register(self, name: str, handler: Handler) -> None:
        """Say what handles slot ``name``."""
        self._rank[name] = _RANK_OF[name.partition(" ")[0]]
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

    def first(self) -> float:
        """Time of the earliest slot, or infinity."""
        slots = self._slots
        return min(slots.values()) if slots else _NEVER

    def now(self) -> float:
        """The physics' time, s."""
        return max(self.time, float(self.env.now))

    def settle(self, now: float) -> None:
        """Handle every slot due at or before ``now``, in order of time, then rank.

        It ends early where a handler wakes a process: that comes next.
        """
        slots, rank, lead = self._slots, self._rank, self.env.lead
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
            now = lead(self.time, now)
            self._handlers[first](self.time)
            now = lead(self.time, now)

    def command(self) -> float:
        """Bring physics up to now before a command changes anything; return the time, s."""
        now = float(self.env.now)
        if self.first() <= now:
            self.settle(now)
        if now > self.time:
            self.time = now
        return self.time


_RANK_OF = {name: index for index, name in enumerate(RANKS)}
