"""A fault that begins while a twin runs: the difference that it makes, applied to what is so now.

The catalogue's faults change scenarios. Here the running twin is written down as a scenario, the
fault changes that, and what differs is carried over: placements, the tool, wires, axes, tables.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.controller.tables import Record, ToolRow
from drytouch.sim.errors import StepError
from drytouch.sim.faults.catalogue import fault_named
from drytouch.sim.faults.entry import NotHere
from drytouch.sim.motion import delay_s
from drytouch.sim.scenario.controller import Row, SetterRecord
from drytouch.sim.scenario.places import item_bodies
from drytouch.sim.scenario.scenario import Placement, Scenario
from drytouch.sim.steps.runner import watch

if TYPE_CHECKING:
    from drytouch.sim.twin.twin import Twin


def begin_fault(twin: Twin, name: str, arguments: dict[str, Any] | None = None) -> None:
    """Let a fault begin now; one that moves something waits until the axes rest.

    Raises:
        StepError: no such fault or argument, or it has no effect as things stand.
    """
    now = as_it_is(twin)
    try:
        then = fault_named(name)(now, **(arguments or {}))
    except NotHere as error:
        raise StepError(
            f"fault '{name}' has no effect here: {error.reason}", "choose another"
        ) from None
    t = twin.kernel.agenda.command()
    twin.recorder.event(t, "fault", [name, arguments or {}])
    line = twin.kernel.line
    if line is None or not _moves_something(now, then):
        _carry_over(twin, now, then)
        return

    def at_rest(_: object) -> None:
        _carry_over(twin, now, then)

    # Before the routine goes on, or it would start its next line as if nothing had happened.
    assert line.done.callbacks is not None
    line.done.callbacks.insert(0, at_rest)


def as_it_is(twin: Twin) -> Scenario:
    """The running twin as a scenario: what stands where, what is loaded, what is stored."""
    scenario, stage, tables, kernel = twin.scenario, twin.stage, twin.tables, twin.kernel
    controller = scenario.controller.model_copy(
        update={
            "rows": {number: _row(row) for number, row in tables.rows.items()},
            "records": {name: _record(record) for name, record in tables.records.items()},
            "systems": dict(tables.systems),
            "system": tables.system,
            "shift_mm": tables.shift,
            "selected": tables.selected,
            "slot": tables.slot,
            "length_offset_row": tables.length_row,
            "units": tables.units,
            "distance": "incremental" if tables.incremental else "absolute",
            "plugs": {n: w.socket for n, w in kernel.wires.items() if w.socket is not None},
            "rapid_override": kernel.rapid_override,
            "feed_override": kernel.feed_override,
            "spindle_angle_deg": stage.angle_deg,
            "homed": twin.controller.homed,
            "proved": tuple(n for n in tables.records if _proved(twin, n)),
            "spindle_warmth": _warmth(twin),
        }
    )
    tools = scenario.tools
    if stage.tool is not None and stage.tool_name is not None:
        tools = {**tools, stage.tool_name: stage.tool}
    truth = scenario.truth.model_copy(
        update={
            "position_error_mm": kernel.shift,
            "homing_error_mm": kernel.homing_error,
            "noise": kernel.noise,
        }
    )
    return scenario.model_copy(
        update={
            "placements": _standing(twin),
            "spindle_tool": stage.tool_name,
            "tools": tools,
            "controller": controller,
            "truth": truth,
        }
    )


def _row(row: ToolRow) -> Row:
    return Row.model_construct(
        length_mm=row.length_mm,
        wear_mm=row.wear_mm,
        diameter_mm=row.diameter_mm,
        tool=row.tool,
        place="here" if row.place == "here" else "centre",
    )


def _record(record: Record) -> SetterRecord:
    values = {name: getattr(record, name) for name in SetterRecord.model_fields}
    return SetterRecord.model_construct(**values)


def _standing(twin: Twin) -> dict[str, Placement]:
    """Placements as they are now: what has slid stands where it slid to."""
    found = {}
    for name, placement in twin.stage.placements.items():
        foot = twin.stage.places[name].foot
        found[name] = placement.model_copy(update={"x_mm": foot[0], "y_mm": foot[1]})
    return found


def _proved(twin: Twin, setter: str) -> bool:
    entry = twin.kernel.inputs.get(twin.tables.records[setter].input)
    return entry is not None and entry.proof == 3


def _warmth(twin: Twin) -> float:
    kernel = twin.kernel
    full = kernel.machine.spindle.growth_mm
    return kernel.growth(kernel.agenda.now()) / full if full > 0.0 else kernel.warmth


def _moves_something(now: Scenario, then: Scenario) -> bool:
    """Whether more differs than signals, knobs, tables and what is to happen."""
    return (
        now.machine != then.machine
        or now.setter != then.setter
        or now.placements != then.placements
        or now.spindle_tool != then.spindle_tool
        or now.tools != then.tools
        or now.truth.position_error_mm != then.truth.position_error_mm
        or now.controller.spindle_angle_deg != then.controller.spindle_angle_deg
        or now.controller.spindle_warmth != then.controller.spindle_warmth
    )


def _carry_over(twin: Twin, now: Scenario, then: Scenario) -> None:
    t = twin.kernel.agenda.command()
    then = _table_kept(now, then)
    scenario = twin.scenario.model_copy(
        update={
            "machine": then.machine,
            "setter": then.setter,
            "tools": then.tools,
            "blocks": then.blocks,
        }
    )
    twin.scenario = twin.stage.scenario = twin.judge.scenario = scenario
    if then.machine != now.machine:
        _machine(twin, then)
    _positions(twin, now, then)
    _setters(twin, now, then, t)
    _items(twin, now, then, t)
    _spindle(twin, now, then, t)
    _signals(twin, now, then, t)
    _beliefs(twin, now, then)
    for happening in then.meanwhile[len(now.meanwhile) :]:
        watch(twin, happening)


def _table_kept(now: Scenario, then: Scenario) -> Scenario:
    """A table that has moved up, with all that stands on it, seen as a head that is lower."""
    by = then.machine.table.top_z_mm - now.machine.table.top_z_mm
    if by == 0.0:
        return then
    machine = then.machine.model_copy(update={"table": now.machine.table})
    x, y, z = then.truth.position_error_mm
    truth = then.truth.model_copy(update={"position_error_mm": (x, y, z - by)})
    return then.model_copy(update={"machine": machine, "truth": truth})


def _machine(twin: Twin, then: Scenario) -> None:
    machine, kernel = then.machine, twin.kernel
    kernel.machine = twin.stage.machine = twin.controller._machine = machine
    axes = machine.axes
    kernel.axes = (axes.x, axes.y, axes.z)
    kernel.accelerations = tuple(axis.acceleration_mm_per_s2 for axis in kernel.axes)
    kernel.jerks = tuple(axis.jerk_mm_per_s3 for axis in kernel.axes)
    if not kernel.stepper:
        kernel.delay = delay_s(machine.servo.position_gain_per_s, machine.servo.feed_forward)
    for entry in kernel.inputs.values():
        socket = machine.sockets[entry.socket]
        entry.filter_s, entry.scan_s = socket.filter_s, socket.scan_s


def _positions(twin: Twin, now: Scenario, then: Scenario) -> None:
    kernel = twin.kernel
    old, new = now.truth.position_error_mm, then.truth.position_error_mm
    x, y, z = kernel.shift
    kernel.shift = (x + new[0] - old[0], y + new[1] - old[1], z + new[2] - old[2])
    kernel.homing_error = then.truth.homing_error_mm


def _setters(twin: Twin, now: Scenario, then: Scenario, t: float) -> None:
    stage = twin.stage
    for name, setter in then.setter.items():
        if setter == now.setter[name]:
            continue
        pad = twin.kernel.pads[name]
        pad.setter = twin.kernel.wires[name].setter = setter
        pad.trip = setter.pre_travel_mm
        if name in stage.places:
            for body in item_bodies(then, name, stage.places[name]):
                stage.scene.place(body)
                twin.recorder.scene(t, "place", body.id, body)
    stage.loose = tuple(n for n, s in then.setter.items() if s.hold != "bolted")


def _items(twin: Twin, now: Scenario, then: Scenario, t: float) -> None:
    for name, placement in now.placements.items():
        if name not in then.placements:
            twin.stage.take_away(name, twin.recorder, t)
        elif then.placements[name] != placement:
            twin.stage.place(name, then.placements[name], twin.recorder, t)


def _spindle(twin: Twin, now: Scenario, then: Scenario, t: float) -> None:
    stage, kernel = twin.stage, twin.kernel
    if then.controller.spindle_angle_deg != now.controller.spindle_angle_deg:
        kernel.turn_to(then.controller.spindle_angle_deg)
    if then.spindle_tool != now.spindle_tool:
        stage.load(then.spindle_tool, twin.recorder, t)
    elif then.spindle_tool is not None:
        tool = then.tools[then.spindle_tool]
        if tool != now.tools[then.spindle_tool]:
            stage.replace_tool(tool, twin.recorder, t)
    if then.controller.spindle_warmth != now.controller.spindle_warmth:
        kernel.warmth, kernel.warmth_time = then.controller.spindle_warmth, t


def _signals(twin: Twin, now: Scenario, then: Scenario, t: float) -> None:
    kernel = twin.kernel
    for name in kernel.wires:
        socket = then.controller.plugs.get(name)
        if socket != now.controller.plugs.get(name):
            kernel.plug(name, socket)
    noise = then.truth.noise
    changed = noise != now.truth.noise
    kernel.noise = noise
    for wire in kernel.wires.values():
        if changed:
            wire.noise = noise
            kernel._start_noise(wire, t)
        # A contact, a wire or a polarity that has changed shows at once at its input.
        if changed or then.machine.sockets != now.machine.sockets:
            kernel._drive(wire, [(t, wire.pressed)])
    if then.controller.proved != now.controller.proved:
        kernel.inputs_forget()
    kernel.set_override(then.controller.rapid_override, then.controller.feed_override)


def _beliefs(twin: Twin, now: Scenario, then: Scenario) -> None:
    """Tables that somebody has changed behind the routine's back; nothing was measured."""
    tables, old, new = twin.tables, now.controller, then.controller
    for number, row in new.rows.items():
        if old.rows.get(number) != row:
            tables.rows[number] = ToolRow(
                row.length_mm, row.wear_mm, row.diameter_mm, row.tool, row.place
            )
    for name, record in new.records.items():
        if old.records.get(name) != record:
            for key in SetterRecord.model_fields:
                setattr(tables.records[name], key, getattr(record, key))
    for system, origin in new.systems.items():
        tables.systems[system] = origin
    tables.system, tables.shift = new.system, new.shift_mm
    tables.selected, tables.slot = new.selected, new.slot
    tables.length_row, tables.units = new.length_offset_row, new.units
    tables.incremental = new.distance == "incremental"
