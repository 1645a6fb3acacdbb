"""How much one page may say before its line is closed."""

from __future__ import annotations

MOST_AT_ONCE = 500
"""Messages. A page beats 25 times a second; after a stall of twenty seconds its beats come at
once, and that must not count against it."""

MOST_PER_S = 100.0
"""Held key, turning wheel and dragged slider together stay below this for as long as they last."""

OPENING_COUNTS = 25
"""Setting a machine up takes a quarter of a second of this server: it counts like so many."""

MOST_BAD = 50
"""Messages that make no sense. A page sends none but what somebody typed wrongly."""

MOST_BAD_PER_S = 1.0
"""Nobody types wrongly faster than this for long."""


class TooMuch(Exception):
    """A page that says too much: how much, in words."""


class Bucket:
    """Full at first; what is taken comes back with time."""

    def __init__(self, most: float, per_s: float, now: float) -> None:
        self.most, self.per_s = most, per_s
        self._left, self._at = most, now

    def take(self, now: float, count: float = 1.0) -> bool:
        """Take so much; False where there is not enough left."""
        self._left = min(self._left + max(now - self._at, 0.0) * self.per_s, self.most)
        self._at = now
        self._left -= count
        return self._left >= 0.0


class Patience:
    """With one page; times are wall clock seconds, given by the caller."""

    def __init__(self, now: float) -> None:
        self._all = Bucket(MOST_AT_ONCE, MOST_PER_S, now)
        self._bad = Bucket(MOST_BAD, MOST_BAD_PER_S, now)

    def heard(self, now: float, opens: bool = False) -> None:
        """A message came.

        Raises:
            TooMuch: more than any page sends.
        """
        if not self._all.take(now, OPENING_COUNTS if opens else 1):
            raise TooMuch(
                f"this page has sent more than {MOST_AT_ONCE} messages at once and "
                f"{MOST_PER_S:.0f} a second"
            )

    def bad(self, now: float) -> None:
        """A message made no sense.

        Raises:
            TooMuch: too many of them.
        """
        if not self._bad.take(now):
            raise TooMuch(f"this page has sent more than {MOST_BAD} messages that make no sense")
