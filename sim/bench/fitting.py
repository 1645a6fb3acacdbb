"""An exercise on another machine: places, heights, sockets and lengths that go with it."""

from __future__ import annotations

from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_part, scenario_from_dict
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.save import plain
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.setter import Setter

# Room wanted between the longest tool, carried right up, and the pad.
_ROOM_MM = 15.0


def fitted(scenario: Scenario, machine: Machine) -> Scenario:
    """The scenario on another machine, checked as if it had been written for it.

    Items keep their places relative to the middle of the table, heights those above the table.
    Each setter's plug goes to a socket that suits its contact. Where the machine's Z is too short
    for the setter, a plate takes its place.

    Raises:
        InputError: the machine lacks what the exercise needs, or something does not fit on it.
    """
    setters = {name: _setter(scenario, machine, setter) for name, setter in scenario.setter.items()}
    changed = scenario.model_copy(update={"machine": machine, "setter": setters})
    _refuse(changed)
    before, after = scenario.machine, machine
    sockets = _sockets(scenario, machine)
    start = scenario.controller
    records = {
        name: _record(scenario, changed, name, record, sockets)
        for name, record in start.records.items()
    }
    plugs = {name: sockets.get(socket, next(iter(after.sockets))) for name, socket in
             start.plugs.items()}  # fmt: skip
    controller = start.model_copy(
        update={
            "records": records,
            "plugs": plugs,
            "position_mm": None,
            "spindle_angle_deg": start.spindle_angle_deg,
        }
    )
    changed = changed.model_copy(
        update={
            "controller": controller,
            "placements": {
                name: p.model_copy(
                    update={
                        "x_mm": p.x_mm - before.table.centre_x_mm + after.table.centre_x_mm,
                        "y_mm": p.y_mm - before.table.centre_y_mm + after.table.centre_y_mm,
                    }
                )
                for name, p in scenario.placements.items()
            },
        }
    )
    changed = _with_lengths(scenario, changed)
    # Through plain data once more: every check of a file is made on the result.
    return scenario_from_dict(plain(changed))


def _setter(scenario: Scenario, machine: Machine, setter: Setter) -> Setter:
    """The same setter with a contact that suits a socket, or a plate where Z is too short."""
    longest = max((tool.true_length_mm for tool in scenario.tools.values()), default=0.0)
    room = machine.axes.z.max_mm - machine.table.top_z_mm
    high = any(socket.active_high for socket in machine.sockets.values())
    low = any(not socket.active_high for socket in machine.sockets.values())
    if room < setter.pad_height_mm + longest + _ROOM_MM and high:
        plate: Setter = load_part("setter", "plate")
        return plate
    suits = high if setter.contact == "NO" else low
    return setter if suits else setter.model_copy(update={"contact": "NO" if high else "NC"})


def _sockets(scenario: Scenario, machine: Machine) -> dict[str, str]:
    """Socket of the old machine -> one of the new with the same polarity, else any."""
    free = list(machine.sockets)
    found: dict[str, str] = {}
    for name, socket in scenario.machine.sockets.items():
        alike = [n for n in free if machine.sockets[n].active_high == socket.active_high] or free
        if alike:
            found[name] = alike[0]
            free.remove(alike[0])
    return found


def _record(
    scenario: Scenario, changed: Scenario, name: str, record: Any, sockets: dict[str, str]
) -> Any:
    old, new = scenario.machine, changed.machine
    by_input = {socket.input: key for key, socket in old.sockets.items()}
    socket = new.sockets[sockets.get(by_input.get(record.input, ""), next(iter(new.sockets)))]
    contact = changed.setter[name].contact
    if name in scenario.controller.plugs or socket.active_high != (contact == "NO"):
        fits = [s for s in new.sockets.values() if s.active_high == (contact == "NO")]
        socket = socket if socket in fits or not fits else fits[0]
    up = new.table.top_z_mm - old.table.top_z_mm
    taller = _trip(changed.setter[name]) - _trip(scenario.setter[name])
    update: dict[str, Any] = {"input": socket.input}
    if record.x_mm is not None:
        update["x_mm"] = record.x_mm - old.table.centre_x_mm + new.table.centre_x_mm
    if record.y_mm is not None:
        update["y_mm"] = record.y_mm - old.table.centre_y_mm + new.table.centre_y_mm
    if record.reference_z_mm is not None:
        lost = (old.axes.z.backlash_mm - new.axes.z.backlash_mm) / 2
        update["reference_z_mm"] = record.reference_z_mm + up + taller + lost
        if new.habits.length_convention == "difference" and record.master_length_mm is None:
            # Lengths count from a master tool there: whoever took the reference had stored it.
            update["master_length_mm"] = load_part("tool", "master-tool").certified_length_mm
    if record.clearance_z_mm is not None:
        longest = max((t.true_length_mm for t in scenario.tools.values()), default=0.0)
        highest = new.axes.z.max_mm - longest
        update["clearance_z_mm"] = min(record.clearance_z_mm + up + min(taller, 0.0), highest)
    if record.height_mm is not None:
        update["height_mm"] = record.height_mm + taller
    return record.model_copy(update=update)


def _trip(setter: Setter) -> float:
    return setter.pad_height_mm - setter.pre_travel_mm


def _with_lengths(scenario: Scenario, changed: Scenario) -> Scenario:
    """Stored lengths and work Z in the new machine's convention; plugs that suit the inputs."""
    start = changed.controller
    by_input = {socket.input: name for name, socket in changed.machine.sockets.items()}
    plugs = {
        name: by_input[start.records[name].input] if _was_right(scenario, name) else socket
        for name, socket in start.plugs.items()
    }
    step = _base(changed) - _base(scenario)
    rows = {
        number: row if row.length_mm is None
        else row.model_copy(update={"length_mm": row.length_mm + step})
        for number, row in start.rows.items()
    }  # fmt: skip
    up = changed.machine.table.top_z_mm - scenario.machine.table.top_z_mm
    systems = {name: (x, y, z + up - step) for name, (x, y, z) in start.systems.items()}
    controller = start.model_copy(update={"rows": rows, "plugs": plugs, "systems": systems})
    return changed.model_copy(update={"controller": controller})


def _was_right(scenario: Scenario, setter: str) -> bool:
    """Whether the plug was in the socket of the input that the record names."""
    record = scenario.controller.records.get(setter)
    socket = scenario.machine.sockets[scenario.controller.plugs[setter]]
    return record is None or socket.input == record.input


def _base(scenario: Scenario) -> float:
    """What the machine's convention adds to a length from the face, mm."""
    convention = scenario.machine.habits.length_convention
    record = next(iter(scenario.controller.records.values()), None)
    if record is None:
        return 0.0
    if convention == "difference":
        return -(record.master_length_mm or 0.0)
    if convention in ("table", "work") and record.reference_z_mm is not None:
        return record.reference_z_mm - (record.height_mm or 0.0)
    return 0.0


def _refuse(scenario: Scenario) -> None:
    """Raise unless the machine has what the exercise needs."""
    needs = scenario.exercise.needs if scenario.exercise else None
    if needs is None:
        return
    machine = scenario.machine
    lacks = []
    tallest = max((s.pad_height_mm for s in scenario.setter.values()), default=0.0)
    if needs.face_reaches and machine.axes.z.min_mm > machine.table.top_z_mm + tallest - 2.0:
        lacks.append("a face that reaches the pad")
    if needs.lugs and not machine.spindle.lugs:
        lacks.append("drive lugs")
    if needs.forgets and machine.emergency_stop.keeps_reference:
        lacks.append("the habit of forgetting references over an emergency stop")
    if lacks:
        raise InputError(
            f"{machine.title or machine.name} lacks {' and '.join(lacks)}, which this exercise "
            "is about",
            key="machine",
            fix="choose another machine or another exercise",
        )
