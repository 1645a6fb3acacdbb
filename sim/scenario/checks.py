"""What a scenario's parts say about each other: names that must exist, places that must fit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import chain

from pydantic import ValidationError

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.exercise_checks import exercise_problems
from drytouch.sim.scenario.geometry import tool_body
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.messages import Problem
from drytouch.sim.scenario.overlap import overlapping
from drytouch.sim.scenario.places import (
    Place,
    item_bodies,
    item_names,
    start_position,
    top_of,
)
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.step_checks import fault_problems, step_problems

_NAME = re.compile(r"[A-Za-z0-9_-]+")
_TIME = re.compile(r"\d+(\.\d+)? s")
_TAKEN = ("table", "spindle", "tool", "here")


def problems_in(scenario: Scenario) -> Iterator[Problem]:
    """Everything about the scenario as a whole that can't be; geometry only once the names hold."""
    named = list(chain(_names(scenario), _placed(scenario), _controller(scenario)))
    yield from named
    yield from step_problems(scenario)
    yield from _expectation(scenario)
    yield from exercise_problems(scenario)
    unbuilt = list(_unbuilt(scenario))
    yield from unbuilt
    if not named and not unbuilt:
        yield from _geometry(scenario)
        yield from _faults(scenario)


def unknown(where: tuple[str | int, ...], what: str, name: str, choices: list[str]) -> Problem:
    """The problem of a name that nothing bears."""
    return Problem(where, f"there is no {what} '{name}'", nearest(name, choices))


def _names(scenario: Scenario) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    own = [body.name for body in scenario.machine.bodies if body.name]
    groups = {
        "setter": list(scenario.setter),
        "stock": list(scenario.stock),
        "blocks": list(scenario.blocks),
    }
    for key, group in groups.items():
        for name in group:
            where = (key, name)
            if not _NAME.fullmatch(name):
                yield Problem(
                    where,
                    f"'{name}' can't be a name",
                    "use letters, digits, '-' and '_' only",
                )
            elif name in _TAKEN or name in own:
                yield Problem(where, f"'{name}' names a part of the machine", "use another name")
            elif name in seen:
                yield Problem(
                    where,
                    f"'{name}' is also the name of an entry of {seen[name]}",
                    "give every setter, stock and block a name of its own",
                )
            seen[name] = key


def _placed(scenario: Scenario) -> Iterator[Problem]:
    items = list(item_names(scenario))
    circle = False
    for name, placement in scenario.placements.items():
        if name not in items:
            yield unknown(("placements", name), "setter, stock or block", name, items)
            continue
        where = ("placements", name, "on")
        if placement.on == "table":
            continue
        if placement.on not in items:
            yield unknown(where, "item to stand on", placement.on, ["table", *items])
        elif placement.on not in scenario.placements:
            yield Problem(
                where, f"'{placement.on}' stands nowhere", f"add [placements.{placement.on}]"
            )
        elif not circle and _circle(scenario, name):
            circle = True  # told once, not by each member
            yield Problem(
                where, f"'{name}' stands on itself, through {placement.on}", "end the circle"
            )


def _circle(scenario: Scenario, name: str) -> bool:
    seen: set[str] = set()
    below = name
    while below in scenario.placements and below not in seen:
        seen.add(below)
        below = scenario.placements[below].on
    return below == name


def _controller(scenario: Scenario) -> Iterator[Problem]:
    start, habits = scenario.controller, scenario.machine.habits
    tools, setters = list(scenario.tools), list(scenario.setter)
    if scenario.spindle_tool is not None and scenario.spindle_tool not in tools:
        yield unknown(("spindle_tool",), "tool in the crib", scenario.spindle_tool, tools)
    for number, row in start.rows.items():
        where: tuple[str | int, ...] = ("controller", "rows", str(number))
        if not 1 <= number <= habits.rows:
            yield Problem(where, f"there is no row {number}", f"rows go from 1 to {habits.rows}")
        if row.tool is not None and row.tool not in tools:
            yield unknown((*where, "tool"), "tool in the crib", row.tool, tools)
    for key in ("slot", "length_offset_row"):
        if getattr(start, key) > habits.rows:
            yield Problem(
                ("controller", key),
                f"there is no row {getattr(start, key)}",
                f"rows go from 1 to {habits.rows}; 0 is none",
            )
    yield from _setter_tables(scenario, setters)


def _setter_tables(scenario: Scenario, setters: list[str]) -> Iterator[Problem]:
    start, sockets = scenario.controller, scenario.machine.sockets
    in_use: dict[str, str] = {}
    for setter, socket in start.plugs.items():
        where = ("controller", "plugs", setter)
        if setter not in setters:
            yield unknown(where, "setter", setter, setters)
        if socket not in sockets:
            yield unknown(where, "socket", socket, list(sockets))
        elif socket in in_use:
            yield Problem(
                where,
                f"socket '{socket}' already holds the plug of '{in_use[socket]}'",
                "use another socket",
            )
        in_use[socket] = setter
    inputs = sorted({socket.input for socket in sockets.values()})
    for setter, record in start.records.items():
        if setter not in setters:
            yield unknown(("controller", "records", setter), "setter", setter, setters)
        # An input that was left out matters once the setter is plugged in: it would watch nothing.
        meant = "input" in record.model_fields_set or setter in start.plugs
        if record.input not in inputs and meant:
            yield Problem(
                ("controller", "records", setter, "input"),
                f"no socket leads to input {record.input}",
                f"use one of: {', '.join(map(str, inputs))}",
            )
    for index, setter in enumerate(start.proved):
        if setter not in setters:
            yield unknown(("controller", "proved", index), "setter", setter, setters)
    if start.selected is not None and start.selected not in setters:
        yield unknown(("controller", "selected"), "setter", start.selected, setters)


def _expectation(scenario: Scenario) -> Iterator[Problem]:
    # Imported here: the catalogue belongs to a room that reads scenarios itself.
    from drytouch.sim.truth.catalogue import CATALOGUE

    codes = list(CATALOGUE)
    if scenario.expect:
        for key in ("findings", "also_allowed"):
            for index, code in enumerate(getattr(scenario.expect, key)):
                if code not in codes:
                    yield unknown(("expect", key, index), "finding", code, codes)
    for index, question in enumerate(scenario.questions):
        when = question.before
        if when and when not in codes and not _TIME.fullmatch(when):
            yield Problem(
                ("questions", index, "before"),
                f"'{when}' is neither a finding nor a time",
                "write a finding's code, or a time such as '3.2 s'",
            )


def _faults(scenario: Scenario) -> Iterator[Problem]:
    """Faults that don't exist, that have no effect here, or that make something impossible."""
    from drytouch.sim.faults import NotHere, fault_named

    changed = scenario.model_copy(update={"faults": ()})
    for index, entry in enumerate(scenario.faults):
        wrong = list(fault_problems(("faults", index), entry.name, entry.arguments))
        yield from wrong
        if wrong:
            continue
        try:
            changed = fault_named(entry.name)(changed, **entry.arguments)
            # Faults are put in without validation, for speed: figures of a file are checked once.
            Scenario.model_validate(changed.model_dump(by_alias=True))
        except NotHere as error:
            yield Problem(
                ("faults", index),
                f"fault '{entry.name}' has no effect here: {error.reason}",
                "take it out, or change the scenario so that it can happen",
            )
        except ValidationError as error:
            first = error.errors()[0]
            yield Problem(
                ("faults", index),
                f"fault '{entry.name}' makes something impossible: {first['msg']}",
                "change its figures",
            )


def _unbuilt(scenario: Scenario) -> Iterator[Problem]:
    """Parts that make no bodies: told now, not when a step first puts them down."""
    floor = Place((0.0, 0.0, 0.0), 0.0)
    groups = (("setter", scenario.setter), ("stock", scenario.stock), ("blocks", scenario.blocks))
    for key, group in groups:
        for name in group:
            try:
                item_bodies(scenario, name, floor)
            except InputError as error:
                place = f"{error.file}: " if error.file else ""
                yield Problem((key, name), f"{place}{error.message}", error.fix)
    for name, tool in scenario.tools.items():
        try:
            tool_body(tool)
        except InputError as error:
            yield Problem(("tools", name), error.message, error.fix)


def _geometry(scenario: Scenario) -> Iterator[Problem]:
    standing = list(chain(_on_supports(scenario), _inside_travel(scenario)))
    yield from standing
    if standing:
        return
    for first, second in overlapping(scenario):
        ids = [first.id.removesuffix(".pad"), second.id.removesuffix(".pad")]
        placed = [name for name in reversed(ids) if name in scenario.placements]
        where = ("placements", placed[0]) if placed else ("controller", "position_mm")
        yield Problem(
            where,
            f"{ids[0]} and {ids[1]} overlap at the start",
            "move one of them" if placed else "start higher, or elsewhere",
        )


def _on_supports(scenario: Scenario) -> Iterator[Problem]:
    table = scenario.machine.table
    for name, placement in scenario.placements.items():
        if placement.on != "table":
            continue
        setter = scenario.setter.get(name)
        # A setter stands on its whole foot; stock may hang over the edge.
        foot = setter.base_diameter_mm / 2 if setter else 0.0
        for key, centre, size in (
            ("x_mm", table.centre_x_mm, table.size_x_mm),
            ("y_mm", table.centre_y_mm, table.size_y_mm),
        ):
            low, high = centre - size / 2 + foot, centre + size / 2 - foot
            if not low <= getattr(placement, key) <= high:
                yield Problem(
                    ("placements", name, key),
                    f"{name} stands off the table: {key} = {getattr(placement, key):g}",
                    f"{key} may be from {low:g} to {high:g}, in machine coordinates",
                )


def _inside_travel(scenario: Scenario) -> Iterator[Problem]:
    axes = scenario.machine.axes
    for name in scenario.placements:
        top = top_of(scenario, name)
        if top >= axes.z.max_mm:
            yield Problem(
                ("placements", name),
                f"{name} is too tall for the machine: its top is at machine Z {top:g} mm, "
                f"where the face reaches no higher than {axes.z.max_mm:g}",
                "use something lower, or check its size and unit",
            )
    for axis, value in zip("xyz", start_position(scenario), strict=True):
        limits = getattr(axes, axis)
        if (
            not limits.min_mm - limits.hard_margin_mm
            <= value
            <= (limits.max_mm + limits.hard_margin_mm)
        ):
            yield Problem(
                ("controller", "position_mm"),
                f"axis {axis} can't be at {value:g} mm",
                f"its travel is from {limits.min_mm:g} to {limits.max_mm:g} mm",
            )
