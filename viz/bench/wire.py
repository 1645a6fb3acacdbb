"""What goes over one page's socket: texts in, texts out, and a last word before it is closed."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from drytouch.viz.bench.seat import Client

_LOG = logging.getLogger(__name__)

LONGEST_MESSAGE = 20_000
"""Characters; the longest that a page sends, a line or a routine's arguments, has hundreds."""

GOODBYE_S = 1.0
"""A page that is shut out is told why, if it reads at all within this time."""


async def send_all(socket: WebSocket, client: Client) -> None:
    """Send whatever comes into a page's outbox, until that is closed."""
    while texts := await client.outbox.take():
        for text in texts:
            await socket.send_text(text)
    with contextlib.suppress(RuntimeError):
        await socket.close(1013)


async def next_text(socket: WebSocket) -> str:
    """The next message; bytes, which no page sends, go on as a text that makes no sense."""
    message = await socket.receive()
    if message["type"] != "websocket.receive":
        raise WebSocketDisconnect(message.get("code", 1005), message.get("reason"))
    text = message.get("text")
    return text if isinstance(text, str) else "bytes instead of a text"


async def shut_out(socket: WebSocket, client: Client, why: str) -> None:
    """Say why, and close the line; one line in the log, however much came."""
    number = "no seat" if client.seat is None else f"seat {client.seat.number}"
    _LOG.warning("%s: %s; its line is closed", number, why)
    told = json.dumps({"kind": "sorry", "why": why, "at": "line"})
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(GOODBYE_S):
            await socket.send_text(told)
            await socket.close(1008, why)


def read(text: str) -> Any:
    """A message; what is no JSON goes on as text, which the session refuses and counts."""
    if len(text) > LONGEST_MESSAGE:
        return f"a message of {len(text)} characters"
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text[:200]
