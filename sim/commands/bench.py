"""``drytouch bench``: practise on a live twin in the browser."""

from __future__ import annotations

import secrets
from typing import NamedTuple

from drytouch.sim.bench.opening import opened
from drytouch.sim.bench.records import Records
from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import InputError
from drytouch.sim.extras import install_hint
from drytouch.sim.scenario.load import load_part


class Wanted(NamedTuple):
    """What the command line asks for."""

    exercise: str | None = None
    machine: str | None = None
    seed: int | None = None
    as_class: bool = False
    host: str = "127.0.0.1"
    port: int = 0
    open_browser: bool = True
    keep: bool = True


def bench(wanted: Wanted) -> int:
    """Serve until interrupted; gives back the exit code.

    Raises:
        InputError: no such exercise or machine, or the address can't be used.
    """
    try:
        from drytouch.viz.bench import Room, Rules, serve
        from drytouch.viz.bench.gate import Gate
    except ModuleNotFoundError as error:
        raise InputError(
            f"the bench needs {error.name}, which is not installed",
            fix=install_hint("bench"),
        ) from None
    # What can't be opened is said here, not to everybody who comes in.
    if wanted.exercise is not None:
        opened(wanted.exercise, wanted.machine, wanted.seed)
    elif wanted.machine is not None:
        load_part("machine", wanted.machine)
    gate = Gate(wanted.host)
    if gate.beyond_loopback:
        gate = Gate(wanted.host, secrets.token_urlsafe(18))
    room = Room(
        Rules(wanted.exercise, wanted.machine, wanted.seed, wanted.as_class),
        Records() if wanted.keep else None,
    )
    serve(room, gate, wanted.port, lambda where: _say(where, room, gate), wanted.open_browser)
    return EXIT_AS_EXPECTED


def _say(where: str, room: object, gate: object) -> None:
    from drytouch.viz.bench.gate import Gate
    from drytouch.viz.bench.room import Room

    assert isinstance(room, Room)
    assert isinstance(gate, Gate)
    console = screen()
    console.print(f"The bench is at {where}", soft_wrap=True, highlight=False)
    if room.rules.as_class:
        join = "&" if "#" in where else "#"
        console.print(f"Join code for trainees: {room.code}", highlight=False)
        console.print(
            f"Instructor's page: {where}{join}role=instructor&key={room.instructor_key}",
            soft_wrap=True,
            highlight=False,
        )
    if gate.beyond_loopback:
        console.print(
            f"Listening on {gate.host}: other machines can reach this one, and join with the token "
            "in the address. Nothing is encrypted: anybody on the network can read along, "
            "including token, join code, the instructor's key, names and attempts, and can then "
            "do what their owners can. Use it only on a network that you trust.",
            soft_wrap=True,
        )
    if room.records is not None:
        console.print(f"Attempts are kept in {room.records.path}", soft_wrap=True, highlight=False)
    console.print("Ctrl-C ends it; what is running is judged and kept.")
    console.print(f"Caution: {CAUTION}", style="italic")
