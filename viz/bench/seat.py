"""A seat: one session, the pages that show it, and who may act."""

from __future__ import annotations

import logging
import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from drytouch.viz.bench.outbox import Outbox
from drytouch.viz.bench.scene import scene_of

if TYPE_CHECKING:
    from drytouch.sim.bench import Session

_LOG = logging.getLogger(__name__)

SILENT_S = 0.15
"""A page beats every 40 ms while something moves; with the tick and the way to the machine what
moves is told to stop within 0.2 s of the last beat."""

COAST_S = 5.0
"""A seat without a page runs on for so long, until everything has come to rest."""

EVENTS_AT_FIRST = 300
"""A new page is told at most so many of the last events."""


@dataclass(eq=False)
class Client:
    """One page: its outbox and its part."""

    role: str = "trainee"
    outbox: Outbox = field(default_factory=Outbox)
    seat: Seat | None = None


class Seat:
    """A session that pages come to and leave; times are wall clock seconds, given by the caller."""

    def __init__(self, session: Session, now: float, number: int) -> None:
        self.session = session
        self.number = number
        self.secret = secrets.token_urlsafe(18)
        self.clients: list[Client] = []
        self.taken_over = False
        self.attempt: int | None = None
        self.kept = False
        self.left_at: float | None = now
        self.heard_at = now
        self._ticked_at = now
        self._holder: Client | None = None
        self._told_silent = False
        self._last: dict[str, Any] = {}
        self._scene_version = -1
        self._told_events = 0

    # ---- pages come and go ---------------------------------------------------------------

    def join(self, client: Client, now: float) -> None:
        """A page is there: it gets scene, tables and state; everybody the same from then on."""
        self.bring_up(now)
        self.frame()
        self.clients.append(client)
        client.seat = self
        self.left_at = None
        self.heard_at = now
        client.outbox.scene(scene_of(self.session))
        state = self.session.state(max(len(self.session.teller.events) - EVENTS_AT_FIRST, 0))
        client.outbox.send("events", events=state.pop("events"), fresh=True)
        client.outbox.state({**state, "seat": self.about()})
        self.tell_debrief(client)

    def leave(self, client: Client, now: float) -> None:
        """A page is gone: a key that it held is up; with the last one everything stops."""
        if client not in self.clients:
            return
        self.bring_up(now)
        self.clients.remove(client)
        client.seat = None
        client.outbox.forget()
        if not any(self.may_act(other) for other in self.clients):
            self.session.lost()
            self.left_at = now if not self.clients else self.left_at
        elif self._holder is client:
            self.session.act({"do": "jog-release"})
        if self._holder is client:
            self._holder = None
        self.frame()

    def may_act(self, client: Client) -> bool:
        """Whether this page's hand is on the machine."""
        return (client.role == "instructor") == self.taken_over

    def take_over(self, on: bool, now: float) -> None:
        """The instructor's hand on the machine instead of the trainee's, or back; it stops."""
        self.bring_up(now)
        if on != self.taken_over:
            self.session.lost()
            self.taken_over = on
            self.heard_at = now
        self.frame()

    # ---- time and messages ---------------------------------------------------------------

    def bring_up(self, now: float) -> None:
        """The twin follows the wall clock up to now."""
        wall = now - self._ticked_at
        self._ticked_at = now
        if self.left_at is None or now - self.left_at < COAST_S:
            self._listen(now)
            self.session.tick(wall)

    def _listen(self, now: float) -> None:
        """Stop what moves when nobody has been heard for too long."""
        live = self.session.live
        at_rest = live.machine is None and live.twin.kernel.line is None
        if at_rest or now - self.heard_at <= SILENT_S:
            self._told_silent = False
        elif not self._told_silent and not self.session.over:
            self._told_silent = True
            self.session.lost()

    def act(self, client: Client, message: Any, now: float) -> bool:
        """Bring the twin up to now, then apply; the reply goes to this page.

        Gives back whether the message made sense.
        """
        self.heard_at = now if self.may_act(client) else self.heard_at
        do = message.get("do") if isinstance(message, dict) else None
        if do == "beat":
            if client is self._holder or self._holder is None:
                self.session.act({"do": "beat"})
            return True
        self.bring_up(now)
        if not self.may_act(client) and do not in ("outline", "units"):
            client.outbox.send("reply", ok=False, do=do, code="not-allowed", fix="",
                               why="somebody else has the machine now")  # fmt: skip
            return True
        if do == "jog-press":
            self._holder = client
        reply = self.session.act(message, client.role)
        self.frame()
        client.outbox.send("reply", **reply)
        bad = reply.get("code") == "bad-message"
        # Nonsense is kept with the session and counted; it must not fill the log as well.
        if not reply["ok"] and not bad:
            _LOG.info("seat %d refused %s: %s", self.number, reply.get("do"), reply["why"])
        return not bad

    # ---- what goes out -------------------------------------------------------------------

    def frame(self) -> None:
        """Send what changed since the last frame to every page."""
        session = self.session
        state = session.state(self._told_events)
        state["seat"] = self.about()
        events = state.pop("events")
        self._told_events = len(session.teller.events)
        changed = {key: value for key, value in state.items() if self._last.get(key) != value}
        self._last = state
        scene = None
        if session.scene_version != self._scene_version:
            self._scene_version = session.scene_version
            scene = scene_of(session)
        for client in self.clients:
            if events:
                client.outbox.send("events", events=events)
            if scene is not None:
                client.outbox.scene(scene)
            client.outbox.state(changed)

    def about(self) -> dict[str, Any]:
        """The seat itself, for pages."""
        return {
            "number": self.number,
            "name": self.session.trainee,
            "exercise": self.session.opened.name,
            "machine": self.session.live.scenario.machine.name,
            "taken_over": self.taken_over,
            "attempt": self.attempt,
            "pages": len(self.clients),
        }

    def tell_debrief(self, client: Client) -> None:
        """The debrief, where there is one."""
        if self.session.debrief is not None:
            client.outbox.send("debrief", debrief=self.session.debrief.to_dict())

    def glance(self) -> dict[str, Any]:
        """One line for the instructor."""
        session = self.session
        live = session.live
        alarm = live.twin.controller.alarm_now
        debrief = session.debrief
        return {
            **self.about(),
            "title": live.scenario.title,
            "time_s": round(live.time, 1),
            "doing": live.machine.name if live.machine is not None else None,
            "alarm": None if alarm is None else alarm.code,
            "e_stop": live.twin.kernel.estopped,
            "hints": session.hints_used,
            "verdict": None if debrief is None else debrief.verdict,
            "score": None if debrief is None else debrief.score,
            "here": bool(self.clients),
        }
