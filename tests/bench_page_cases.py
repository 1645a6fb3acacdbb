"""A bench's server in a thread of its own, and clients to talk to it."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from websockets.sync.client import connect

from drytouch.sim.bench.records import Records
from drytouch.viz.bench.gate import Gate
from drytouch.viz.bench.room import Room, Rules
from drytouch.viz.bench.serve import listen, server_of

LONGEST_S = 30.0
"""A machine that is busy with other tests may be slow; nothing takes this long that will come."""


@contextmanager
def served(rules: Rules, folder: Path | None = None) -> Iterator[tuple[str, Room]]:
    """The address of a running server, and its room."""
    room = Room(rules, None if folder is None else Records(folder))
    gate = Gate()
    listening = listen("127.0.0.1", 0)
    server = server_of(room, gate)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until(lambda: server.started)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}", room
    finally:
        server.should_exit = True
        thread.join(LONGEST_S)
        listening.close()


def until(true: Callable[[], Any], every_s: float = 0.02) -> Any:
    """Wait until something is so; gives back what it was."""
    end = time.monotonic() + LONGEST_S
    while not (found := true()):
        assert time.monotonic() < end, "it never came true"
        time.sleep(every_s)
    return found


class Talker:
    """A page without a browser: says hello, keeps what it is told."""

    def __init__(self, address: str, **hello: Any) -> None:
        self._open = ExitStack()
        self.socket = self._open.enter_context(
            connect(address.replace("http", "ws") + "/live", open_timeout=LONGEST_S)
        )
        self.state: dict[str, Any] = {}
        self.messages: list[dict[str, Any]] = []
        self.say({"hello": 1, **hello})

    def say(self, message: Any) -> None:
        self.socket.send(message if isinstance(message, str) else json.dumps(message))

    def hear(self, kind: str, **wanted: Any) -> dict[str, Any]:
        """The next message of a kind that holds what is wanted."""
        while True:
            message = json.loads(self.socket.recv(timeout=LONGEST_S))
            self.messages.append(message)
            if message["kind"] == "state":
                self.state.update(message)
            if message["kind"] == kind and wanted.items() <= message.items():
                return message

    def act(self, do: str, **figures: Any) -> dict[str, Any]:
        self.say({"do": do, **figures})
        return self.hear("reply", do=do)

    def close(self) -> None:
        self._open.close()
