"""What each code does, in the order of execution (NISTIR 6556, section 3.8)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from drytouch.sim.program import modal as m
from drytouch.sim.program.block import AXES, Block
from drytouch.sim.program.machine import ToolRow
from drytouch.sim.program.motions import go_home, move
from drytouch.sim.program.parameters import ACTIVE_SYSTEM, SHIFT, origin_index
from drytouch.sim.program.run import Run, Steps
from drytouch.sim.program.state import ZERO, State, scaled, take_from_machine

# Feed, speed and tool.


def _feed_mode(run: Run) -> Steps:
    run.set_g(m.FEED_MODE)
    yield from ()


def _feed(run: Run) -> Steps:
    if run.state.modal.feed_mode == 940:
        units = run.state.modal
        if run.settings.feed_with_unit_change == "new-units" and m.UNITS in run.block.g:
            units = units.with_g(m.UNITS, run.block.g[m.UNITS])
        run.state.feed_mm_per_min = run.block.values["F"] * units.unit_mm
    yield from ()


def _speed(run: Run) -> Steps:
    run.state.speed_rpm = run.block.values["S"]
    if run.state.modal.spindle in (3, 4) and m.SPINDLE not in run.block.m:
        yield from _turn(run)


def _select_tool(run: Run) -> Steps:
    run.state.selected_tool = run.block.integer("T", 0, run.machine.slots, "tool")
    yield from ()


def _change_tool(run: Run) -> Steps:
    if run.state.modal.spindle in (3, 4):
        yield from run.machine.turn_spindle(0, 0.0)
    run.state.modal = replace(run.state.modal, spindle=5)
    yield from run.machine.load_tool(run.state.selected_tool)
    # A change may travel on its own; the standard's "axes unmoved" is then the machine's to keep.
    take_from_machine(run.state, run.machine)


def _turn(run: Run) -> Steps:
    direction = {3: 1, 4: -1}.get(run.state.modal.spindle, 0)
    yield from run.machine.turn_spindle(direction, run.state.speed_rpm if direction else 0.0)


def _spindle(run: Run) -> Steps:
    code = run.block.m[m.SPINDLE]
    run.state.modal = replace(run.state.modal, spindle=5 if code == 19 else code)
    if code == 19:
        yield from run.machine.orient_spindle(run.block.values.get("R", 0.0))
    else:
        yield from _turn(run)


def _coolant(run: Run) -> Steps:
    run.state.modal = run.state.modal.with_coolant(run.block.m[m.COOLANT])
    yield from ()


def _overrides(run: Run) -> Steps:
    code = run.block.m[m.OVERRIDES]
    run.state.modal = replace(run.state.modal, overrides=code)
    run.machine.enable_overrides(code == 48)
    yield from ()


def _dwell(run: Run) -> Steps:
    yield from run.machine.dwell(run.block.values["P"])


# Modes and offsets.


def _modes(run: Run, *groups: int) -> None:
    for group in groups:
        if group in run.block.g:
            run.set_g(group)


def _plane(run: Run) -> Steps:
    _modes(run, m.PLANE)
    yield from ()


def _units(run: Run) -> Steps:
    state = run.state
    before = state.modal.unit_mm
    run.set_g(m.UNITS)
    ratio = state.modal.unit_mm / before
    if ratio != 1 and run.settings.offsets_on_unit_change == "keep-numbers":
        state.origin_mm = scaled(state.origin_mm, ratio)
        state.shift_mm = scaled(state.shift_mm, ratio)
        state.tool_length_mm *= ratio
        run.tell_active()
    yield from ()


def _length(run: Run) -> Steps:
    state = run.state
    if run.set_g(m.LENGTH) == 490:
        state.tool_length_mm, state.tool_row = 0.0, 0
    else:
        row = run.block.integer("H", 0, run.machine.slots, "row")
        stored = run.machine.tool_row(row) if row else None
        state.tool_length_mm = stored.geometry_mm + stored.wear_mm if stored else 0.0
        state.tool_row = row
    run.tell_active()
    yield from ()


def _system(run: Run) -> Steps:
    run.set_g(m.SYSTEM)
    select_system(run.state)
    run.tell_active()
    yield from ()


def select_system(state: State) -> None:
    """Put the active system's stored origin in force, read in the units of now."""
    state.parameters.write(ACTIVE_SYSTEM, float(state.system))
    stored = state.parameters.vector(origin_index(state.system))
    state.origin_mm = scaled(stored, state.modal.unit_mm)


def _distance(run: Run) -> Steps:
    _modes(run, m.COMPENSATION, m.PATH, m.DISTANCE, m.RETURN)
    yield from ()


# Tables.


def _tables(run: Run) -> Steps:
    block, unit = run.block, run.unit_mm
    if block.integer("L", 1, 2, "kind of G10") == 1:
        row = block.integer("P", 1, run.machine.slots, "row")
        old = run.machine.tool_row(row) or ToolRow()
        geometry = block.values["R"] * unit if "R" in block.values else old.geometry_mm
        wear = block.values["Q"] * unit if "Q" in block.values else old.wear_mm
        run.row_writes[row] = ToolRow(geometry, wear)
    else:
        system = block.integer("P", 1, 9, "work system")
        first = origin_index(system)
        # An axis that is not named stays where it is, whatever its number means in other units.
        origin = list(run.state.origin_mm)
        for k, axis in enumerate(AXES):
            if axis in block.values:
                run.state.parameters.write(first + k, block.values[axis])
                run.origins_changed.add((system, k))
                origin[k] = block.values[axis] * unit
        if system == run.state.system:
            run.state.origin_mm = (origin[0], origin[1], origin[2])
            run.tell_active()
    yield from ()


def _shift(run: Run) -> Steps:
    state, unit = run.state, run.unit_mm
    code = run.block.one_shot
    if code == 920:
        now, shift = state.program_position, list(state.shift_mm)
        for k, axis in enumerate(AXES):
            if axis in run.block.values:
                shift[k] += (now[k] - run.block.values[axis]) * unit
        state.shift_mm = (shift[0], shift[1], shift[2])
    elif code == 923:
        state.shift_mm = scaled(state.parameters.vector(SHIFT), unit)
    else:
        state.shift_mm = ZERO
    if code in (920, 921):
        state.parameters.write_vector(SHIFT, scaled(state.shift_mm, 1 / unit))
    run.tell_active()
    yield from ()


# Tables are written after motion, whole, and before the line may wait at a stop.


def commit(run: Run) -> Steps:
    """Write what the line changed in the tables."""
    for row, stored in run.row_writes.items():
        run.machine.write_tool_row(row, stored.geometry_mm, stored.wear_mm)
    if run.setter_writes:
        run.machine.write_setter_record(run.setter_writes, run.line)
    if run.origins_changed:
        origins = [list(origin) for origin in run.machine.work_origins_mm()]
        for system, axis in run.origins_changed:
            number = run.state.parameters.read(origin_index(system) + axis) or 0.0
            origins[system - 1][axis] = number * run.unit_mm
        whole = tuple((x, y, z) for x, y, z in origins)
        run.machine.write_work_origins(whole, run.line)
        run.state.origins_seen = whole
    run.committed = True
    yield from ()


def _stop(run: Run) -> Steps:
    code = run.block.m[m.STOP]
    if code in (2, 30):
        yield from _end(run)
    elif code != 99 and (code != 1 or run.optional_stop):
        yield from run.machine.pause(code == 1, f"M{code}")
        take_from_machine(run.state, run.machine)


def _end(run: Run) -> Steps:
    state = run.state
    turning = state.modal.spindle in (3, 4)
    cancelled = run.settings.tool_length_at_end == "cancelled"
    state.modal = state.modal.after_end(cancelled)
    state.shift_mm = ZERO
    if cancelled:
        state.tool_length_mm, state.tool_row = 0.0, 0
    select_system(state)
    run.tell_active()
    run.machine.enable_overrides(True)
    if turning:
        yield from run.machine.turn_spindle(0, 0.0)


def _has_g(*groups: int) -> Callable[[Block], bool]:
    wanted = frozenset(groups)
    return lambda block: not wanted.isdisjoint(block.g)


def _has_m(group: int) -> Callable[[Block], bool]:
    return lambda block: group in block.m


def _has(letter: str) -> Callable[[Block], bool]:
    return lambda block: letter in block.values


def _is(*codes: int) -> Callable[[Block], bool]:
    wanted = frozenset(codes)
    return lambda block: block.one_shot in wanted


STEPS: tuple[tuple[Callable[[Block], bool], Callable[[Run], Steps]], ...] = (
    (_has_g(m.FEED_MODE), _feed_mode),
    (_has("F"), _feed),
    (_has("S"), _speed),
    (_has("T"), _select_tool),
    (_has_m(m.TOOL_CHANGE), _change_tool),
    (_has_m(m.SPINDLE), _spindle),
    (_has_m(m.COOLANT), _coolant),
    (_has_m(m.OVERRIDES), _overrides),
    (_is(40), _dwell),
    (_has_g(m.PLANE), _plane),
    (_has_g(m.UNITS), _units),
    (_has_g(m.LENGTH), _length),
    (_has_g(m.SYSTEM), _system),
    (_has_g(m.COMPENSATION, m.PATH, m.DISTANCE, m.RETURN), _distance),
    (_is(280, 300), go_home),
    (_is(100), _tables),
    (_is(920, 921, 922, 923), _shift),
    (lambda block: m.MOTION in block.g or block.axes != "" or block.one_shot == 310, move),
    (lambda block: True, commit),
    (_has_m(m.STOP), _stop),
)
"""When a step applies to a block, and the step; in the order of execution."""

CALL_STEPS: tuple[tuple[Callable[[Block], bool], Callable[[Run], Steps]], ...] = (
    (lambda block: True, commit),
)
"""The steps of a line that calls: its settings may have changed a table."""
