"""The codes that move the axes: straight, arc, touch, home."""

from __future__ import annotations

import math

from drytouch.sim.program import modal as m
from drytouch.sim.program.arcs import arc_by_centre, arc_by_radius, arc_extent
from drytouch.sim.program.block import AXES, PLANE_AXES, PLANE_OFFSETS, moves_axes
from drytouch.sim.program.machine import TouchResult, Vector
from drytouch.sim.program.parameters import HOMES, TOUCH_RESULT
from drytouch.sim.program.run import TRAVEL_SLACK_MM, Run, Steps
from drytouch.sim.program.state import ZERO, scaled, take_from_machine

# NISTIR 6556, B.5: a probe move shorter than this is refused (0.01 inch, the same length).
SHORTEST_TOUCH_MM = 0.254
# NISTIR 6556, 3.5.3: how far the radii of an arc may differ at its ends.
ARC_TOLERANCE_MM = 0.002
ARC_TOLERANCE_INCH = 0.0002


def go_home(run: Run) -> Steps:
    """Rapid by way of the programmed point, if any, to the home of G28 or G30."""
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


def move(run: Run) -> Steps:
    """Do what the motion mode, or G31, makes of the axis words."""
    if m.MOTION in run.block.g:
        run.set_g(m.MOTION)
    motion = run.state.modal.motion
    if run.counts_from_tables and (run.block.one_shot == 310 or moves_axes(run.block, motion)):
        run.machine.work_move(run.line)
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
    if length > 0:
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
    if _check_touch(run, feed, target, must_meet):
        _record(run, state.position_mm, contact=True)
        return
    aim = _beyond(state.position_mm, target, settings.touch_overshoot_mm if must_meet else 0.0)
    run.check_travel(aim, aim)
    start = state.position_mm
    if aim == start:
        _record(run, start, contact=False)
        return
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
    refused = must_meet or run.settings.g31_already_tripped == "error"
    if is_on:
        run.machine.already_tripped(refused, run.line)
    if is_on and refused:
        raise wrong("E-PROBE", "the input is on already; the touch would see nothing")
    return is_on


def _record(run: Run, position: Vector, contact: bool) -> None:
    state = run.state
    state.touch = TouchResult(contact, position)
    offset = state.offset_mm if run.settings.touch_result == "work" else ZERO
    unit = run.unit_mm
    values = [(position[k] - offset[k]) / unit for k in range(3)]
    state.parameters.write_vector(TOUCH_RESULT, [*values, 0.0, 0.0, 0.0])
