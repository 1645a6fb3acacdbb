"""Small changes to a scenario that the faults are made of. Models are copied, never changed.

``model_copy`` costs about 4 us for a whole scenario and skips validation, so that a matrix of
thousands of runs spends its time on the runs.
"""

from __future__ import annotations

from typing import Any, Literal

from drytouch.sim.faults.entry import NotHere
from drytouch.sim.scenario.controller import Row, SetterRecord
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import AnyStep, Meanwhile
from drytouch.sim.scenario.tool import Tool

AXES = ("x", "y", "z")
Event = Literal["contact", "close", "touch", "rapid", "alarm"]


def with_controller(scenario: Scenario, **values: Any) -> Scenario:
    """Other beliefs of the controller at the start."""
    controller = scenario.controller.model_copy(update=values)
    return scenario.model_copy(update={"controller": controller})


def with_noise(scenario: Scenario, **values: Any) -> Scenario:
    """Other disturbances on the signal."""
    noise = scenario.truth.noise.model_copy(update=values)
    truth = scenario.truth.model_copy(update={"noise": noise})
    return scenario.model_copy(update={"truth": truth})


def with_truth(scenario: Scenario, **values: Any) -> Scenario:
    """Other things that are so and nobody has told the controller."""
    return scenario.model_copy(update={"truth": scenario.truth.model_copy(update=values)})


def with_machine(scenario: Scenario, **values: Any) -> Scenario:
    """Another machine."""
    return scenario.model_copy(update={"machine": scenario.machine.model_copy(update=values)})


def with_axis(scenario: Scenario, axis: str, **values: Any) -> Scenario:
    """Another axis of the machine."""
    axes = scenario.machine.axes
    changed = getattr(axes, axis).model_copy(update=values)
    return with_machine(scenario, axes=axes.model_copy(update={axis: changed}))


def with_setter(scenario: Scenario, name: str, **values: Any) -> Scenario:
    """Another setter under the same name."""
    changed = scenario.setter[name].model_copy(update=values)
    return scenario.model_copy(update={"setter": {**scenario.setter, name: changed}})


def with_link(scenario: Scenario, name: str, **values: Any) -> Scenario:
    """Another link of a setter."""
    return with_setter(scenario, name, link=scenario.setter[name].link.model_copy(update=values))


def with_record(scenario: Scenario, name: str, **values: Any) -> Scenario:
    """Another record of a setter."""
    changed = record_of(scenario, name).model_copy(update=values)
    return with_controller(scenario, records={**scenario.controller.records, name: changed})


def with_row(scenario: Scenario, number: int, **values: Any) -> Scenario:
    """Another row of the tool table."""
    rows = scenario.controller.rows
    changed = rows.get(number, Row()).model_copy(update=values)
    return with_controller(scenario, rows={**rows, number: changed})


def with_placement(scenario: Scenario, item: str, **values: Any) -> Scenario:
    """An item stands elsewhere."""
    changed = scenario.placements[item].model_copy(update=values)
    return scenario.model_copy(update={"placements": {**scenario.placements, item: changed}})


def with_tool(scenario: Scenario, name: str, **values: Any) -> Scenario:
    """Another tool under the same name."""
    changed = scenario.tools[name].model_copy(update=values)
    return scenario.model_copy(update={"tools": {**scenario.tools, name: changed}})


def with_meanwhile(scenario: Scenario, *happenings: Meanwhile) -> Scenario:
    """More things happen beside the steps."""
    return scenario.model_copy(update={"meanwhile": (*scenario.meanwhile, *happenings)})


def when(step: AnyStep, after: Event, delay_s: float = 0.0, nth: int = 1) -> Meanwhile:
    """A step some time after an event; built without validation, which costs 20 us."""
    return Meanwhile.model_construct(at_s=None, after=after, nth=nth, delay_s=delay_s, step=step)


def record_of(scenario: Scenario, name: str) -> SetterRecord:
    """What the controller has stored about a setter; an empty record where nothing is."""
    return scenario.controller.records.get(name) or SetterRecord()


def setter_in_use(scenario: Scenario, setter: str | None) -> str:
    """The setter that is meant: the one named, or the one whose input a touch watches.

    Raises:
        NotHere: the scenario has none of this name.
    """
    name = setter or scenario.controller.selected or next(iter(scenario.setter), None)
    if name is None:
        raise NotHere("there is no setter")
    if name not in scenario.setter:
        raise NotHere(f"there is no setter '{name}'")
    return name


def standing(scenario: Scenario, setter: str | None) -> str:
    """As ``setter_in_use``, and it stands somewhere."""
    name = setter_in_use(scenario, setter)
    if name not in scenario.placements:
        raise NotHere(f"{name} stands nowhere")
    return name


def plugged(scenario: Scenario, setter: str | None) -> tuple[str, str]:
    """A setter and the socket that its plug is in."""
    name = setter_in_use(scenario, setter)
    socket = scenario.controller.plugs.get(name)
    if socket is None:
        raise NotHere(f"the plug of {name} is in no socket")
    return name, socket


def tool_in_spindle(scenario: Scenario) -> tuple[str, Tool]:
    """The tool that is really in the spindle."""
    if scenario.spindle_tool is None:
        raise NotHere("the spindle is bare")
    return scenario.spindle_tool, scenario.tools[scenario.spindle_tool]


def axis_named(axis: str) -> int:
    """Index of an axis."""
    if axis not in AXES:
        raise NotHere(f"the machine has no axis '{axis}'")
    return AXES.index(axis)
