"""The room: all seats, the clock that drives them, and what an instructor does."""

from __future__ import annotations

import asyncio
import logging
import secrets
import time
from dataclasses import dataclass
from typing import Any

from drytouch.sim.bench import Session
from drytouch.sim.bench.records import Records
from drytouch.sim.errors import DrytouchError
from drytouch.viz.bench.gate import same
from drytouch.viz.bench.seat import Client, Seat

_LOG = logging.getLogger(__name__)

TICK_S = 0.02
FRAME_EVERY = 2
"""Every second tick: 25 frames a second, above what looks smooth on a page that draws at 60."""

LEFT_S = 900.0
"""Somebody who comes back within a quarter of an hour finds the machine as it was left."""

MOST_SEATS = 60
CLASS_EVERY_S = 0.5
_CODE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that are taken for each other
NAME_LENGTH = 40


class NotIn(Exception):
    """Somebody may not come in, or what they want can't be opened."""


@dataclass(frozen=True, slots=True)
class Rules:
    """How this server is run."""

    exercise: str | None = None
    machine: str | None = None
    seed: int | None = None
    as_class: bool = False
    left_s: float = LEFT_S


class Room:
    """Seats by their secret; every method is called on the one loop."""

    def __init__(self, rules: Rules, records: Records | None) -> None:
        self.rules = rules
        self.records = records
        self.code = "".join(secrets.choice(_CODE_LETTERS) for _ in range(6))
        self.instructor_key = secrets.token_urlsafe(18)
        self.seats: dict[str, Seat] = {}
        self.instructors: list[Client] = []
        self.frozen = False
        self.late_s = 0.0
        self._count = 0
        self._saving: set[asyncio.Task[None]] = set()
        self._progress: dict[str, Any] = {"done": [], "failing": []}

    # ---- coming in -----------------------------------------------------------------------

    def admit(self, hello: dict[str, Any]) -> Client:
        """The page that says hello, in its role.

        Raises:
            NotIn: the join code or the instructor's key is wrong.
        """
        if hello.get("role") == "instructor":
            key = hello.get("key")
            if not self.rules.as_class or not isinstance(key, str):
                raise NotIn("an instructor needs the key that the terminal shows")
            if not same(key, self.instructor_key):
                raise NotIn("this instructor's key is not the one of this class")
            client = Client(role="instructor")
            self.instructors.append(client)
            return client
        code = str(hello.get("code") or "").strip().upper()
        if self.rules.as_class and self.known(hello) is None and not same(code, self.code):
            if not code:
                raise NotIn("type the join code that the instructor shows")
            raise NotIn("the join code is not the one that the instructor has shown")
        return Client()

    def known(self, hello: dict[str, Any]) -> Seat | None:
        """The seat that a page had before, if it is still there."""
        return self.seats.get(str(hello.get("session") or ""))

    async def open(self, wanted: dict[str, Any]) -> Seat:
        """A new seat on an exercise.

        Raises:
            NotIn: no such exercise or machine, or the room is full.
        """
        if len(self.seats) >= MOST_SEATS:
            raise NotIn(f"the room is full: {MOST_SEATS} sessions run already")
        exercise = str(wanted.get("exercise") or self.rules.exercise or "")
        machine = wanted.get("machine") or self.rules.machine
        name = " ".join(str(wanted.get("name") or "").split())[:NAME_LENGTH]
        try:
            # Reading files and placing bodies takes a quarter of a second: others must not wait.
            session = await asyncio.to_thread(
                Session.open,
                _inside(exercise, self.rules.exercise),
                _inside(str(machine), self.rules.machine) if machine else None,
                _seed(wanted.get("seed"), self.rules.seed),
                name,
            )
        except DrytouchError as error:
            raise NotIn(str(error)) from None
        self._count += 1
        session.frozen = self.frozen
        seat = Seat(session, time.monotonic(), self._count)
        self.seats[seat.secret] = seat
        return seat

    # ---- time ----------------------------------------------------------------------------

    async def run(self) -> None:
        """Drive all seats until cancelled."""
        due = time.monotonic()
        count, told = 0, 0.0
        while True:
            due = max(due + TICK_S, time.monotonic() - TICK_S)
            await asyncio.sleep(max(due - time.monotonic(), 0.0))
            now = time.monotonic()
            self.late_s = max(now - due, 0.99 * self.late_s)
            count += 1
            for seat in list(self.seats.values()):
                self._drive(seat, now, count % FRAME_EVERY == 0)
            if self.instructors and now - told > CLASS_EVERY_S:
                told = now
                self.tell_class()

    def _drive(self, seat: Seat, now: float, frame: bool) -> None:
        try:
            seat.bring_up(now)
            if frame and seat.clients:
                seat.frame()
            self.keep_if_over(seat)
            if seat.left_at is not None and now - seat.left_at > self.rules.left_s:
                self.end(seat)
        except Exception:  # one seat's mishap must not stop the others
            _LOG.exception("seat %d", seat.number)

    # ---- the end of a session ------------------------------------------------------------

    def end(self, seat: Seat) -> None:
        """A session that was left, or given up: judged, kept where anything was done, removed."""
        self.seats.pop(seat.secret, None)
        if seat.session.live.log:
            seat.session.finish()
            self.keep_if_over(seat)
        for client in list(seat.clients):
            seat.leave(client, time.monotonic())

    def keep_if_over(self, seat: Seat) -> None:
        """Save a session once when it has been judged, beside the loop."""
        if seat.session.debrief is None or seat.kept:
            return
        seat.kept = True
        for client in seat.clients:
            seat.tell_debrief(client)
        if self.records is not None:
            task = asyncio.get_running_loop().create_task(self._keep(seat, self.records))
            self._saving.add(task)
            task.add_done_callback(self._saving.discard)

    async def _keep(self, seat: Seat, records: Records) -> None:
        try:
            seat.attempt = await asyncio.to_thread(records.save, seat.session)
            self._progress = await asyncio.to_thread(_progress_of, records)
            for client in list(seat.clients):
                await self.tell_progress(client, seat.session.trainee)
        except DrytouchError as error:
            _LOG.error("seat %d was not kept: %s", seat.number, error)

    async def tell_progress(self, client: Client, trainee: str) -> None:
        """What somebody has done so far, exercise by exercise; nothing about the nameless."""
        if self.records is not None and trainee and client.role == "trainee":
            rows = await asyncio.to_thread(self.records.progress, trainee)
            client.outbox.send("progress", rows=rows)

    async def close(self) -> None:
        """Judge and keep everything that still runs: the server ends."""
        for seat in list(self.seats.values()):
            self.end(seat)
        if self._saving:
            await asyncio.gather(*self._saving)

    # ---- the instructor ------------------------------------------------------------------

    def freeze(self, on: bool) -> None:
        """Stop everybody, or let them go on."""
        self.frozen = on
        for seat in self.seats.values():
            seat.bring_up(time.monotonic())
            seat.session.act({"do": "freeze", "on": on}, "instructor")
            seat.frame()
        self.tell_class()

    def seat_number(self, number: object) -> Seat:
        """The seat with a number.

        Raises:
            NotIn: there is none.
        """
        for seat in self.seats.values():
            if seat.number == number:
                return seat
        raise NotIn(f"there is no seat {number!s:.20}")

    async def refresh(self) -> None:
        """Read what the records hold."""
        if self.records is not None:
            self._progress = await asyncio.to_thread(_progress_of, self.records)

    def tell_class(self) -> None:
        """The whole class at a glance, to every instructor."""
        seats = [seat.glance() for seat in self.seats.values()]
        for client in self.instructors:
            client.outbox.send(
                "class", seats=seats, frozen=self.frozen, code=self.code, **self._progress
            )


def _progress_of(records: Records) -> dict[str, Any]:
    done = records.class_view()
    for row in done:
        row["findings"] = records.findings(row["last_attempt"])
    return {"done": done, "failing": records.where_people_fail()[:20]}


def _inside(name: str, offered: str | None) -> str:
    """A name of the library, or what the command line named: a message names no path."""
    if name != offered and ("/" in name or "\\" in name or name.endswith(".toml")):
        raise NotIn("choose from the list")
    if not name:
        raise NotIn("say which exercise")
    return name


def _seed(wanted: object, offered: int | None) -> int | None:
    return wanted if isinstance(wanted, int) and 0 <= wanted < 2**31 else offered
