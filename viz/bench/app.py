"""Routes: the page and its files, one WebSocket a page, replays, scenarios and records."""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator, Callable
from functools import lru_cache
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from drytouch.sim.errors import DrytouchError, InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.save import scenario_to_toml
from drytouch.viz import look
from drytouch.viz.bench.gate import Gate, same
from drytouch.viz.bench.patience import Patience, TooMuch
from drytouch.viz.bench.room import NotIn, Room
from drytouch.viz.bench.seat import Client, Seat
from drytouch.viz.bench.tables import tables
from drytouch.viz.bench.wire import next_text, read, send_all, shut_out
from drytouch.viz.page import page_text
from drytouch.viz.page_data import entry_of, looks

WRONG_DELAY_S = 0.5
"""A wrong code or token is answered this late: guessing six letters would take years."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


def make_app(room: Room, gate: Gate) -> Starlette:
    """The application; its lifespan drives the room."""

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await room.refresh()
        driver = asyncio.create_task(room.run())
        yield
        driver.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await driver
        await room.close()

    door = _Door(room, gate)
    routes = [
        Route("/", door.page),
        Route("/bench.js", door.script),
        Route("/bench.css", door.style),
        Route("/replay/{secret}", door.replay),
        Route("/scenario/{secret}", door.scenario),
        Route("/seat/{number:int}/replay", door.replay),
        Route("/seat/{number:int}/scenario", door.scenario),
        Route("/attempt/{number:int}", door.attempt),
        Route("/records.{form}", door.records),
        WebSocketRoute("/live", door.live),
    ]
    return Starlette(routes=routes, lifespan=lifespan)


class _Door:
    def __init__(self, room: Room, gate: Gate) -> None:
        self.room, self.gate = room, gate

    # ---- files ---------------------------------------------------------------------------

    async def page(self, request: Request) -> Response:
        if not self.gate.host_allowed(request.headers.get("host")):
            return PlainTextResponse("this server does not go by that name", 403)
        return HTMLResponse(_PAGE, headers=_HEADERS)

    async def script(self, request: Request) -> Response:
        return Response(_shipped("bench.js"), media_type="text/javascript", headers=_HEADERS)

    async def style(self, request: Request) -> Response:
        return Response(_shipped("bench.css"), media_type="text/css", headers=_HEADERS)

    # ---- what a session leaves behind ----------------------------------------------------

    async def replay(self, request: Request) -> Response:
        seat = self._seat(request)
        if seat is None or seat.session.debrief is None:
            return PlainTextResponse("nothing to replay: finish the session first", 404)
        # It is over: nothing changes it while another thread reads it, for half a second or more.
        return HTMLResponse(await asyncio.to_thread(_replay_page, seat.session.recording))

    async def scenario(self, request: Request) -> Response:
        seat = self._seat(request)
        if seat is None:
            return PlainTextResponse("there is no such session", 404)
        session = seat.session
        if session.exercise is not None and not session.over and "secret" in request.path_params:
            # The file says what is really so, down to the fault that is to be found.
            return PlainTextResponse("the scenario of an exercise comes after its end", 403)
        text = await asyncio.to_thread(scenario_to_toml, session.as_scenario())
        name = f"{session.opened.name or 'bench'}-session.toml"
        disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
        return PlainTextResponse(text, headers=_HEADERS | disposition)

    def _seat(self, request: Request) -> Seat | None:
        """By its secret, or for an instructor of a class by its number."""
        if "secret" in request.path_params:
            return self.room.seats.get(request.path_params["secret"])
        if not self.room.rules.as_class or not self._instructs(request):
            return None
        number = request.path_params["number"]
        return next((seat for seat in self.room.seats.values() if seat.number == number), None)

    async def attempt(self, request: Request) -> Response:
        number = request.path_params["number"]
        if self.room.records is None or not self._instructs(request):
            return PlainTextResponse("this is for the instructor", 403)
        try:
            found = await asyncio.to_thread(self.room.records.attempt, number)
        except InputError as error:
            return PlainTextResponse(str(error), 404)
        return HTMLResponse(await asyncio.to_thread(_replay_page, lambda: found["recording"]))

    async def records(self, request: Request) -> Response:
        records, form = self.room.records, request.path_params["form"]
        if records is None or not self._instructs(request):
            return PlainTextResponse("this is for the instructor", 403)
        if form not in ("csv", "json"):
            return PlainTextResponse("records come as csv or json", 404)
        text = await asyncio.to_thread(records.as_csv if form == "csv" else records.as_json)
        disposition = {"Content-Disposition": f'attachment; filename="records.{form}"'}
        return PlainTextResponse(text, headers=_HEADERS | disposition)

    def _instructs(self, request: Request) -> bool:
        """Without a class, whoever sits at this machine sees its records."""
        if not self.gate.host_allowed(request.headers.get("host")):
            return False
        if not self.room.rules.as_class:
            return self.gate.token_right(request.query_params.get("token"))
        return same(request.query_params.get("key", ""), self.room.instructor_key)

    # ---- the live page -------------------------------------------------------------------

    async def live(self, socket: WebSocket) -> None:
        """One page from hello to goodbye."""
        headers = socket.headers
        if not self.gate.origin_allowed(headers.get("origin"), headers.get("host")):
            await socket.close(1008)  # before it is accepted: the browser sees 403
            return
        await socket.accept()
        client = None
        try:
            hello = read(await next_text(socket))
            client = await self._admit(socket, hello)
            if client is not None:
                await self._converse(socket, client, hello)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            if client is not None:
                self._gone(client)

    async def _admit(self, socket: WebSocket, hello: Any) -> Client | None:
        try:
            if not isinstance(hello, dict) or not self.gate.token_right(hello.get("token")):
                raise NotIn("the token in the address is missing or wrong")
            return self.room.admit(hello)
        except NotIn as error:
            await asyncio.sleep(WRONG_DELAY_S)
            await socket.send_text(json.dumps({"kind": "sorry", "why": str(error), "at": "door"}))
            await socket.close(1008)
            return None

    async def _converse(self, socket: WebSocket, client: Client, hello: dict[str, Any]) -> None:
        rules = self.room.rules
        client.outbox.send("welcome", role=client.role, offered=rules.exercise,
                           as_class=rules.as_class, frozen=self.room.frozen,
                           **tables())  # fmt: skip
        sender = asyncio.create_task(send_all(socket, client))
        try:
            await self._sit(client, hello)
            patience = Patience(time.monotonic())
            while True:
                await self._heard(client, await next_text(socket), patience)
                # A page that talks without a pause must not keep the others waiting.
                await asyncio.sleep(0)
        except TooMuch as error:
            sender.cancel()
            await shut_out(socket, client, str(error))
        finally:
            client.outbox.close()
            sender.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await sender

    async def _sit(self, client: Client, hello: dict[str, Any]) -> None:
        """The seat it had; else a new one where the exercise is clear; else it may choose."""
        if client.role == "instructor":
            self.room.tell_class()
            return
        seat = self.room.known(hello)
        await self.room.tell_progress(client, str(hello.get("name") or ""))
        if seat is not None:
            self._join(client, seat)
        elif self.room.rules.exercise or hello.get("exercise"):
            await self._open(client, hello)

    def _join(self, client: Client, seat: Any) -> None:
        if client.seat is not None:
            client.seat.leave(client, time.monotonic())
        secret = seat.secret if client.role == "trainee" else ""
        client.outbox.send("seated", session=secret, number=seat.number)
        seat.join(client, time.monotonic())

    async def _open(self, client: Client, wanted: dict[str, Any]) -> None:
        try:
            seat = await self.room.open(wanted)
        except NotIn as error:
            client.outbox.send("sorry", why=str(error), at="open")
            return
        self._join(client, seat)

    async def _heard(self, client: Client, text: str, patience: Patience) -> None:
        """One message: to the room, or to the session."""
        message = read(text)
        room = message.get("room") if isinstance(message, dict) else None
        patience.heard(time.monotonic(), opens=room == "open")
        sense = True
        if room is not None:
            try:
                await self._room(client, str(room), message)
            except NotIn as error:
                sense = False
                client.outbox.send("sorry", why=str(error), at="room")
        elif client.seat is not None:
            sense = client.seat.act(client, message, time.monotonic())
            self.room.keep_if_over(client.seat)
        if not sense:
            patience.bad(time.monotonic())

    async def _room(self, client: Client, what: str, message: dict[str, Any]) -> None:
        now = time.monotonic()
        if what == "open" and client.role == "trainee":
            old = client.seat
            await self._open(client, message)
            if old is not None and client.seat is not old and not old.clients:
                self.room.end(old)
        elif client.role != "instructor":
            raise NotIn("this is for the instructor")
        elif what == "watch":
            self._join(client, self.room.seat_number(message.get("seat")))
        elif what == "look-away" and client.seat is not None:
            client.seat.take_over(False, now)
            client.seat.leave(client, now)
        elif what == "take-over" and client.seat is not None:
            client.seat.take_over(bool(message.get("on")), now)
        elif what == "freeze":
            self.room.freeze(bool(message.get("on")))
        elif what == "fault":
            self._fault(client, message)
        else:
            raise NotIn(f"nothing is known of {what[:40]!r}")

    def _fault(self, client: Client, message: dict[str, Any]) -> None:
        """A fault begins at a seat; nobody there is told."""
        seat = self.room.seat_number(message.get("seat"))
        action = {"do": "fault", "name": message.get("name")}
        reply = seat.session.act(action, "instructor")
        client.outbox.send("reply", **reply)

    def _gone(self, client: Client) -> None:
        if client in self.room.instructors:
            self.room.instructors.remove(client)
            if client.seat is not None and client.seat.taken_over:
                client.seat.take_over(False, time.monotonic())
        if client.seat is not None:
            client.seat.leave(client, time.monotonic())


def _replay_page(data: Callable[[], dict[str, Any]]) -> str:
    """The replay page of a recording that is made when it is needed, all in one text."""
    recording = Recording.from_dict(data())
    entry = entry_of(recording, None)
    return page_text(
        entry["title"],
        {
            "entries": [entry],
            "zero_s": [0.0],
            "zero_label": "the start",
            "questions": [],
            "display": "inch" if recording.scenario.get("display") == "inch" else "mm",
            "caution": look.CAUTION,
            "look": looks(),
        },
    )


@lru_cache(maxsize=2)
def _shipped(name: str) -> str:
    try:
        source = resources.files("drytouch.viz").joinpath("web", "built", name)
        return source.read_text(encoding="utf-8")
    except OSError as error:
        raise DrytouchError(f"{name} is missing from this installation: install again") from error


_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Bench</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/bench.css">
</head>
<body>
<div id="page"></div>
<noscript>The bench is a live page: allow scripts to use it.</noscript>
<script src="/bench.js"></script>
</body>
</html>
"""
