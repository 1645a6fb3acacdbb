"""What each code does, in the order of execution (NISTIR 6556, section 3.8)."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import modal as m
from drytouch.sim.program.arcs import arc_by_centre, arc_by_radius, arc_extent
from drytouch.sim.program.block import AXES, PLANE_AXES, PLANE_OFFSETS, Block, moves_axes
from drytouch.sim.program.line import comment_kind
from drytouch.sim.program.machine import Machine, Motion, ToolRow, TouchResult, Vector
from drytouch.sim.program.parameters import (
    ACTIVE_SYSTEM,
    HOMES,
    SHIFT,
    TOUCH_RESULT,
    origin_index,
)
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.state import ZERO, State, scaled, take_from_machine

Steps: TypeAlias = Generator[Any, Any, None]

# NISTIR 6556, B.5: a probe move shorter than this is refused (0.01 inch, the same length).
SHORTEST_TOUCH_MM = 0.254
# NISTIR 6556, 3.5.3: how far the radii of an arc may differ at its ends.
ARC_TOLERANCE_MM = 0.002
ARC_TOLERANCE_INCH = 0.0002
# Rounding of offsets leaves less than this; a travel limit must not refuse its own value.
TRAVEL_SLACK_MM = 1e-6


@dataclass(slots=True)
class Run:
    """One line in execution."""

    state: State
    machine: Machine
    settings: LanguageSettings
    block: Block
    line: int
    optional_stop: bool = False
    origins_changed: bool = False
    row_writes: dict[int, ToolRow] = field(default_factory=dict)

    def comment(self, text: str) -> None:
        """Act on a comment: show a message, raise an alarm, or nothing."""
        kind = comment_kind(text)
        shown = text.partition(",")[2].strip()
        if kind == "MSG":
            self.machine.message(shown)
        elif kind == "ALARM":
            self.machine.alarm(shown)
            # A machine that only notes the alarm must not carry on either.
            raise ControllerAlarm("program", shown)

    @property
    def unit_mm(self) -> float:
        """One program unit in mm."""
        return self.state.modal.unit_mm

    def set_g(self, group: int) -> int:
        """Put the line's code of ``group`` in force and return it."""
        code = self.block.g[group]
        self.state.modal = self.state.modal.with_g(group, code)
        return code

    def tell_active(self) -> None:
        """Let the machine know which offsets are in force."""
        self.machine.write_active(self.state.active(), self.line)

    def target(self) -> Vector:
        """Return the end of the line's move in the machine frame, in mm."""
        state, values = self.state, self.block.values
        if self.block.one_shot == 530:
            base = ZERO
        elif state.modal.distance == 910:
            base = state.position_mm
        else:
            base = state.offset_mm
        x, y, z = (
            base[k] + values[axis] * self.unit_mm if axis in values else state.position_mm[k]
            for k, axis in enumerate(AXES)
        )
        return (x, y, z)

    def check_travel(self, low: Vector, high: Vector) -> None:
        """Raise E-TRAVEL unless the box lies inside the machine's travel."""
        travel = self.machine.travel_mm
        if travel is None:
            return
        for k, axis in enumerate(AXES):
            least, most = travel[0][k] - TRAVEL_SLACK_MM, travel[1][k] + TRAVEL_SLACK_MM
            for value in (low[k], high[k]):
                if not least <= value <= most:
                    raise self.block.wrong(
                        "E-TRAVEL",
                        f"{axis} would go to {value:.3f} mm in machine coordinates; it travels "
                        f"from {travel[0][k]:g} to {travel[1][k]:g} mm",
                        axis,
                    )

    def rapid(self, target: Vector) -> Motion:
        """Go there at the rapid rate."""
        self.check_travel(target, target)
        yield from self.machine.rapid(target, self.line)
        self.state.position_mm = target

    def feed_for(self, length_mm: float) -> float:
        """Return the feed in mm/min of a move of ``length_mm``; raises E-FEED if there is none."""
        if self.state.modal.feed_mode == 930:
            return max(length_mm, 0.0) * self.block.values["F"]
        if self.state.feed_mm_per_min <= 0:
            raise self.block.wrong("E-FEED", "the feed is 0: the program has set no F yet")
        return self.state.feed_mm_per_min


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


# One-shot codes.


def _home(run: Run) -> Steps:
    first = HOMES[0] if run.block.one_shot == 280 else HOMES[1]
    home = scaled(run.state.parameters.vector(first), run.unit_mm)
    named = run.block.axes
    if named:
        yield from run.rapid(run.target())
    if run.settings.home_axes == "all" or not named:
        named = AXES
    x, y, z = (
        home[k] if axis in named else run.state.position_mm[k] for k, axis in enumerate(AXES)
    )
    yield from run.rapid((x, y, z))


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
        for k, axis in enumerate(AXES):
            if axis in block.values:
                run.state.parameters.write(first + k, block.values[axis])
        run.origins_changed = True
        if system == run.state.system:
            select_system(run.state)
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


# Motion.


def _motion(run: Run) -> Steps:
    if m.MOTION in run.block.g:
        run.set_g(m.MOTION)
    motion = run.state.modal.motion
    if run.block.one_shot == 310:
        yield from _touch(run, must_meet=False)
    elif not moves_axes(run.block, motion):
        return
    elif motion == 0:
        yield from run.rapid(run.target())
    elif motion == 10:
        yield from _straight(run)
    elif motion == 382:
        yield from _touch(run, must_meet=True)
    else:
        yield from _arc(run, counterclockwise=motion == 30)


def _straight(run: Run) -> Steps:
    target = run.target()
    run.check_travel(target, target)
    length = math.dist(run.state.position_mm, target)
    feed = run.feed_for(length)
    if feed > 0:
        yield from run.machine.feed(target, feed, run.line)
    run.state.position_mm = target


def _arc(run: Run, counterclockwise: bool) -> Steps:
    state, values, unit = run.state, run.block.values, run.unit_mm
    plane = state.modal.plane
    axes = PLANE_AXES[plane]
    start, end = state.position_mm, run.target()
    tolerance = ARC_TOLERANCE_MM if unit == 1 else ARC_TOLERANCE_INCH * unit
    if "R" in values:
        arc = arc_by_radius(start, end, axes, values["R"] * unit, counterclockwise, tolerance)
    else:
        first, second = (values.get(letter, 0.0) * unit for letter in PLANE_OFFSETS[plane])
        arc = arc_by_centre(start, end, axes, (first, second), counterclockwise, tolerance)
    run.check_travel(*arc_extent(start, arc))
    yield from run.machine.arc(arc, run.feed_for(arc.length_mm), run.line)
    state.position_mm = end


def _touch(run: Run, must_meet: bool) -> Steps:
    """Feed to contact (G38.2, NISTIR 6556 section 3.5.9; G31 without its errors)."""
    state, settings = run.state, run.settings
    target = run.target()
    feed = run.feed_for(0.0)
    tripped = _check_touch(run, feed, target, must_meet)
    if tripped:
        _record(run, state.position_mm, contact=True)
        return
    aim = _beyond(state.position_mm, target, settings.touch_overshoot_mm if must_meet else 0.0)
    run.check_travel(aim, aim)
    start = state.position_mm
    result = yield from run.machine.touch(aim, feed, must_meet, run.line)
    take_from_machine(state, run.machine)
    if not result.contact:
        if must_meet:
            raise run.block.wrong("E-MISS", "the touch reached its end without contact", "G382")
        _record(run, state.position_mm, contact=False)
        return
    _record(run, result.latched_mm, contact=True)
    if settings.rest_after_touch == "trip-point":
        back = _beyond(start, result.latched_mm, -settings.touch_retract_mm)
        if back != state.position_mm:
            yield from run.machine.feed(back, feed, run.line)
            state.position_mm = back


def _beyond(start: Vector, end: Vector, extra_mm: float) -> Vector:
    length = math.dist(start, end)
    if length == 0 or extra_mm == 0:
        return end
    part = max(0.0, (length + extra_mm) / length)
    x, y, z = (a + part * (b - a) for a, b in zip(start, end, strict=True))
    return (x, y, z)


def _check_touch(run: Run, feed: float, target: Vector, must_meet: bool) -> bool:
    """Check the start conditions; returns whether the input is on already, where that is legal."""
    state, wrong = run.state, run.block.wrong
    conditions = run.machine.touch_conditions()
    low, high = conditions.feed_limits_mm_per_min
    if not conditions.fitted:
        raise wrong("E-STATE", "what the watched input belongs to is not there, or off")
    if state.modal.spindle in (3, 4) and not conditions.turning_allowed:
        raise wrong("E-STATE", "the spindle turns; a touch needs it at rest here")
    if not low <= feed <= high:
        raise wrong("E-FEED", f"a touch needs {low:g} to {high:g} mm/min here, not {feed:g}", "F")
    distance = math.dist(state.position_mm, target)
    if must_meet and distance < SHORTEST_TOUCH_MM - TRAVEL_SLACK_MM:
        raise wrong("E-PROBE", f"a touch needs {SHORTEST_TOUCH_MM} mm of way, not {distance:.4g}")
    is_on = run.machine.input_is_on()
    if is_on is None:
        raise wrong("E-STATE", "there is no input for the touch to watch")
    if is_on and (must_meet or run.settings.g31_already_tripped == "error"):
        raise wrong("E-PROBE", "the input is on already; the touch would see nothing")
    return is_on


def _record(run: Run, position: Vector, contact: bool) -> None:
    state = run.state
    state.touch = TouchResult(contact, position)
    offset = state.offset_mm if run.settings.touch_result == "work" else ZERO
    unit = run.unit_mm
    values = [(position[k] - offset[k]) / unit for k in range(3)]
    state.parameters.write_vector(TOUCH_RESULT, [*values, 0.0, 0.0, 0.0])


# Tables are written after motion, whole, and before the line may wait at a stop.


def _commit(run: Run) -> Steps:
    for row, stored in run.row_writes.items():
        run.machine.write_tool_row(row, stored.geometry_mm, stored.wear_mm)
    if run.origins_changed:
        origins = run.state.stored_origins_mm()
        run.machine.write_work_origins(origins, run.line)
        run.state.origins_seen = origins
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
    (_is(280, 300), _home),
    (_is(100), _tables),
    (_is(920, 921, 922, 923), _shift),
    (lambda block: m.MOTION in block.g or block.axes != "" or block.one_shot == 310, _motion),
    (lambda block: True, _commit),
    (_has_m(m.STOP), _stop),
)
"""When a step applies to a block, and the step; in the order of execution."""
