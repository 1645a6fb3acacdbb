"""Names and numbers in steps that must fit the rest of the scenario."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from drytouch.sim.errors import StepError
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.lines import Path
from drytouch.sim.scenario.messages import Problem
from drytouch.sim.scenario.places import item_names
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import FaultStep, Routine
from drytouch.sim.scenario.units import converted

# Field of a step -> what it names.
_NAMES = {
    "setter": "setter",
    "socket": "socket",
    "item": "setter, stock or block",
    "block": "block",
    "on": "item to stand on",
    "tool": "tool in the crib",
}
_ROWS = ("slot", "row", "length_row")


def step_problems(scenario: Scenario) -> Iterator[Problem]:
    """Everything in the steps, and what happens beside them, that the scenario lacks."""
    choices = {
        "setter": list(scenario.setter),
        "socket": list(scenario.machine.sockets),
        "item": list(item_names(scenario)),
        "block": list(scenario.blocks),
        "on": ["table", *item_names(scenario)],
        "tool": list(scenario.tools),
    }
    steps: list[tuple[Path, Any]] = [(("steps", i), s) for i, s in enumerate(scenario.steps)]
    steps += [(("meanwhile", i, "step"), m.step) for i, m in enumerate(scenario.meanwhile)]
    for where, step in steps:
        for field, what in _NAMES.items():
            name = getattr(step, field, None)
            # Some steps have a switch called "on", which names nothing.
            if isinstance(name, str) and name not in choices[field]:
                yield Problem(
                    (*where, field), f"there is no {what} '{name}'", nearest(name, choices[field])
                )
        yield from _numbers(scenario, where, step)
        if isinstance(step, Routine):
            yield from _routine(where, step)
        if isinstance(step, FaultStep):
            yield from fault_problems(where, step.name, step.arguments)
        setter = getattr(step, "arguments", {}).get("setter")
        if isinstance(setter, str) and setter not in scenario.setter:
            yield Problem(
                (*where, "with", "setter"),
                f"there is no setter '{setter}'",
                nearest(setter, choices["setter"]),
            )


def own_units(arguments: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    """A routine's arguments with each key in another unit of its family converted.

    Raises:
        StepError: the same quantity is given twice, or in a unit of another family.
    """
    fields = set(names)
    if arguments.keys() <= fields:
        return dict(arguments)  # nothing to convert, which is what runs ask for most
    try:
        return converted(arguments, fields)
    except ValueError as error:
        raise StepError(str(error), "use the unit in the argument's own name") from None


def _routine(where: Path, step: Routine) -> Iterator[Problem]:
    # Imported here: routines bring in the controller, which most scenario files never name.
    from drytouch.sim.routines.registry import routine_by_name

    try:
        routine = routine_by_name(step.name)
    except StepError as error:
        yield Problem((*where, "name"), error.message, error.fix)
        return
    try:
        routine.check(own_units(step.arguments, (given.name for given in routine.arguments)))
    except StepError as error:
        named = [name for name in step.arguments if f"'{name}'" in error.message]
        yield Problem((*where, "with", *named[:1]), error.message, error.fix)


def fault_problems(where: Path, name: str, arguments: dict[str, Any]) -> Iterator[Problem]:
    """A fault that the catalogue lacks, or figures that it doesn't take."""
    # Imported here: the catalogue belongs to a room that reads scenarios itself.
    from drytouch.sim.faults import fault_named

    try:
        entry = fault_named(name)
    except StepError as error:
        yield Problem((*where, "name"), error.message, error.fix)
        return
    try:
        entry.check(arguments)
    except StepError as error:
        named = [key for key in arguments if f"'{key}'" in error.message]
        yield Problem((*where, "with", *named[:1]), error.message, error.fix)


def _numbers(scenario: Scenario, where: Path, step: Any) -> Iterator[Problem]:
    rows = scenario.machine.habits.rows
    for field in _ROWS:
        number = getattr(step, field, None)
        if number is not None and number > rows:
            yield Problem((*where, field), f"there is no row {number}", f"rows go from 1 to {rows}")
    rpm = getattr(step, "rpm", 0.0)
    highest = scenario.machine.spindle.max_rpm
    if abs(rpm) > highest:
        yield Problem(
            (*where, "rpm"), f"the spindle can't turn at {rpm:g} 1/min", f"at most {highest:g}"
        )
    if step.do in ("place", "feel-block", "step-until-feel"):
        item = step.item if step.do == "place" else step.block
        if item == step.on:
            yield Problem((*where, "on"), f"'{item}' can't stand on itself", "name another item")
