"""What a session shows: readout, modes, inputs, tables and poses, as plain data.

Nothing of the truth is in here but where bodies are, which a person standing there sees as well.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from drytouch.sim.bench.live import Live, Running
from drytouch.sim.scenario.set_up import told

if TYPE_CHECKING:
    from drytouch.sim.twin.twin import Twin

MM_PER_INCH = 25.4
# Digits that readouts of this kind have: a micrometre, a ten-thousandth of an inch.
DECIMALS = {"mm": 3, "inch": 4}


def machine_state(live: Live, display: str) -> dict[str, Any]:
    """Everything at the machine, for ``Session.state``."""
    twin = live.twin
    kernel, controller = twin.kernel, twin.controller
    t = kernel.agenda.command()
    alarm = controller.alarm_now
    line = kernel.line
    return {
        "position": _position(twin, display),
        "modes": _modes(twin),
        "inputs": _inputs(twin),
        "alarm": None if alarm is None else {"code": alarm.code, "message": alarm.message},
        "moving": None if line is None else line.kind,
        "speed_mm_per_min": round(kernel.speed(t) * 60.0, 1),
        "running": _running(live.machine, t),
        "hands": None if live.hands is live.machine else _running(live.hands, t),
        "tables": _tables(twin),
        "crib": [{"tool": name, "title": tool.title} for name, tool in twin.scenario.tools.items()],
        "items": _items(twin),
        "sockets": [
            {"socket": name, "input": socket.input}
            for name, socket in twin.scenario.machine.sockets.items()
        ],
        "scene_version": len(twin.recorder.scenes),
        "poses": _poses(twin, t),
    }


def _position(twin: Twin, display: str) -> dict[str, Any]:
    size, digits = (MM_PER_INCH, 4) if display == "inch" else (1.0, 3)
    machine, work = twin.controller.position, twin.controller.work_position
    return {
        "machine": [round(value / size, digits) + 0.0 for value in machine],
        "work": [round(value / size, digits) + 0.0 for value in work],
        "machine_mm": [round(value, 4) + 0.0 for value in machine],
        "decimals": digits,
    }


def _modes(twin: Twin) -> dict[str, Any]:
    kernel, controller, tables = twin.kernel, twin.controller, twin.tables
    return {
        "drives": kernel.powered,
        "homed": controller.homed,
        "e_stop": kernel.estopped,
        "hold": kernel.hold,
        "rapid_override": kernel.rapid_override,
        "feed_override": kernel.feed_override,
        "system": tables.system,
        "length_row": tables.length_row,
        "slot": tables.slot,
        "tool": twin.stage.tool_name,
        "units": tables.units,
        "incremental": tables.incremental,
        "spindle_rpm": kernel.rpm,
        "spindle_deg": twin.stage.angle_deg,
        "selected": tables.selected,
        "hand": twin.judge.hand,
    }


def _inputs(twin: Twin) -> list[dict[str, Any]]:
    habits, tables = twin.scenario.machine.habits, twin.tables
    watched = habits.fixed_input if habits.watches == "fixed" else None
    if watched is None and tables.selected is not None:
        watched = tables.records[tables.selected].input
    plugs = {wire.socket: name for name, wire in twin.kernel.wires.items()}
    return [
        {
            "number": entry.number,
            "socket": entry.socket,
            "on": entry.seen,
            "proved": entry.proof == 3,
            "watched": entry.number == watched,
            "plug": plugs.get(entry.socket),
        }
        for entry in twin.kernel.inputs.values()
    ]


def _running(running: Running | None, t: float) -> dict[str, Any] | None:
    if running is None:
        return None
    line = running.line
    return {
        "n": running.number,
        "do": running.do,
        "name": running.name,
        "since_s": round(t - running.since_s, 3),
        "line": None if line is None else {"file": line[0], "line": line[1], "text": line[2]},
    }


def _tables(twin: Twin) -> dict[str, Any]:
    tables = twin.tables
    return {
        "rows": [{"row": number, **asdict(row)} for number, row in sorted(tables.rows.items())],
        "systems": {name: list(origin) for name, origin in tables.systems.items()},
        "shift_mm": list(tables.shift),
        "records": {name: asdict(record) for name, record in tables.records.items()},
        "noted": dict(tables.noted),
    }


def _items(twin: Twin) -> list[dict[str, Any]]:
    scenario, standing = twin.scenario, twin.stage.placements
    kinds: list[tuple[str, dict[str, Any]]] = [
        ("setter", scenario.setter), ("stock", scenario.stock), ("block", scenario.blocks)
    ]  # fmt: skip
    found = []
    for kind, group in kinds:
        for name in group:
            placed = standing.get(name)
            entry: dict[str, Any] = {"item": name, "kind": kind, "standing": placed is not None}
            if placed is not None:
                entry |= {"on": placed.on, "x_mm": placed.x_mm, "y_mm": placed.y_mm}
            found.append(entry)
    return found


def _poses(twin: Twin, t: float) -> dict[str, Any]:
    kernel = twin.kernel
    line = kernel.line
    walked = 0.0
    if line is not None:
        walked = max(min(line.track.state_at(t - line.delay).s, line.block), line.dead)
    return {
        "axes": [round(value, 4) for value in kernel.physical(t)],
        "spindle_deg": round((twin.stage.angle_deg + kernel.rpm * 6.0 * t) % 360.0, 2)
        if kernel.rpm
        else twin.stage.angle_deg,
        "pads": {
            name: round(pad.depth_at(walked) if line is not None and pad.touching else pad.depth, 4)
            for name, pad in kernel.pads.items()
        },
    }


def belief(twin: Twin) -> dict[str, Any]:
    """What the controller takes to be so, for the outlines: to be shown after the end only.

    ``face`` is where it takes the spindle face to be (machine, mm); ``told`` are its tables by the
    keys that recordings use for them; ``setters`` and ``length_convention`` are what is needed to
    turn those numbers into places.
    """
    scenario, tables = twin.scenario, twin.tables
    return {
        "face": list(twin.controller.position),
        "told": told(tables, tables.length_row, tables.selected, tables.shift[2]),
        "setters": {n: {"pre_travel_mm": s.pre_travel_mm} for n, s in scenario.setter.items()},
        "length_convention": scenario.machine.habits.length_convention,
    }
