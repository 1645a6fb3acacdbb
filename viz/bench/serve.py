"""Run the bench's server, and open the browser on it."""

from __future__ import annotations

import asyncio
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import closing

import uvicorn

from drytouch.sim.errors import InputError
from drytouch.viz.bench.app import make_app
from drytouch.viz.bench.gate import Gate
from drytouch.viz.bench.room import Room

PING_S = 5.0
"""Pages that vanish without a word are noticed after this and as much again; motion has been
stopped long before, for want of a beat."""


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens; port 0 takes a free one.

    Raises:
        InputError: the address can't be used.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, port))
    except OSError as error:
        found.close()
        raise InputError(
            f"can't listen on {host}, port {port}: {error.strerror or error}",
            key="--port",
            fix="choose another --port, or none: a free one is taken",
        ) from None
    return found


def address(gate: Gate, port: int) -> str:
    """The page's address, with the token where one is asked for."""
    host = f"[{gate.host}]" if ":" in gate.host else gate.host
    return f"http://{host}:{port}/" + (f"#token={gate.token}" if gate.token else "")


def server_of(room: Room, gate: Gate) -> uvicorn.Server:
    """The server, not running yet."""
    return uvicorn.Server(
        uvicorn.Config(
            make_app(room, gate),
            log_level="warning",
            ws="websockets-sansio",
            ws_max_size=65536,
            ws_ping_interval=PING_S,
            ws_ping_timeout=PING_S,
            timeout_graceful_shutdown=2,
            lifespan="on",
        )
    )


def serve(
    room: Room, gate: Gate, port: int, told: Callable[[str], None], open_browser: bool = True
) -> None:
    """Serve until interrupted; ``told`` gets the address as soon as it answers.

    Raises:
        InputError: the address can't be used.
    """
    with closing(listen(gate.host, port)) as listening:
        where = address(gate, listening.getsockname()[1])
        server = server_of(room, gate)

        async def run() -> None:
            async def announce() -> None:
                while not server.started:
                    await asyncio.sleep(0.02)
                told(where)
                if open_browser:
                    # Some browsers keep the caller until they are closed.
                    threading.Thread(target=webbrowser.open, args=(where,), daemon=True).start()

            speaker = asyncio.create_task(announce())
            await server.serve(sockets=[listening])
            speaker.cancel()

        asyncio.run(run())
