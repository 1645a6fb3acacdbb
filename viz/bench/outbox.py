"""What waits to be sent to one page: stale poses are dropped, everything else never."""

from __future__ import annotations

import asyncio
import json
from typing import Any

MOST_WAITING = 5000
"""A page that has read none of so many messages is gone; it gets all of them when it is back."""

BEFORE_STATE = ("welcome", "seated")
"""A page that gets these forgets the state that it had."""


class Outbox:
    """Messages in order, and beside them the newest state, into which newer state is merged."""

    def __init__(self) -> None:
        self._first: list[dict[str, Any]] = []
        self._messages: list[dict[str, Any]] = []
        self._state: dict[str, Any] = {}
        self._scene: dict[str, Any] | None = None
        self._wake = asyncio.Event()
        self.full = False

    def send(self, kind: str, **data: Any) -> None:
        """A message that must arrive, in order; after the state that was there when it was sent."""
        if len(self._messages) >= MOST_WAITING:
            self.full = True
        else:
            kept = self._first if kind in BEFORE_STATE else self._messages
            kept.append({"kind": kind, **data})
        self._wake.set()

    def state(self, changed: dict[str, Any]) -> None:
        """What changed in the state; what is not sent yet is overwritten."""
        if changed:
            self._state.update(changed)
            self._wake.set()

    def scene(self, scene: dict[str, Any]) -> None:
        """All bodies that are there; replaces one that was not sent yet."""
        self._scene = scene
        self._wake.set()

    def forget(self) -> None:
        """Drop state and scene that were not sent: the page turns to another session."""
        self._state, self._scene = {}, None

    def close(self) -> None:
        """Let the sender end."""
        self.full = True
        self._wake.set()

    async def take(self) -> list[str]:
        """Wait for something, and take all of it as JSON texts; empty at the end."""
        await self._wake.wait()
        self._wake.clear()
        if self.full:
            return []
        taken, self._first = self._first, []
        if self._scene is not None:
            taken.append({"kind": "scene", **self._scene})
            self._scene = None
        if self._state:
            taken.append({"kind": "state", **self._state})
            self._state = {}
        taken += self._messages
        self._messages = []
        return [json.dumps(message, separators=(",", ":"), allow_nan=False) for message in taken]
