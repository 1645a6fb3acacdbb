"""The touch-off that the benchmarks time: one machining centre, one setter, one tool.

The setter stands in the middle of the table and the face starts 3 mm above first contact: fast
touch, back off 2 mm, slow touch, up again. Chance is off unless asked for.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import Twin

X, Y = -380.0, -200.0
FAST_MM_PER_MIN, BACK_MM_PER_MIN, SLOW_MM_PER_MIN = 200.0, 1000.0, 25.0
RUN_UP_MM = 3.0
BACK_OFF_MM = 2.0
SEARCH_MM = 7.0  # how far below first contact the fast touch may go: less than what the pad bears
AGAIN_MM = 2.0  # the same for the slow touch, from what the fast one found

DATA: dict[str, Any] = {
    "name": "two-stage",
    "machine": "machining-centre",
    "tools": ["end-mill-10"],
    "spindle_tool": "end-mill-10",
    "chance": False,
    "setter": {"main": "bolted-nc"},
    "placements": {"main": {"x_mm": X, "y_mm": Y}},
    "controller": {
        "slot": 1,
        "plugs": {"main": "setter"},
        "proved": ["main"],
        "records": {"main": {"x_mm": X, "y_mm": Y}},
    },
}


def contact_z(scenario: Scenario) -> float:
    """Closed form: height (mm) of the face when the tip meets the pad's free top."""
    pad = scenario.machine.table.top_z_mm + scenario.setter["main"].pad_height_mm
    return pad + scenario.tools["end-mill-10"].true_length_mm


def trip_z(scenario: Scenario) -> float:
    """Closed form: height (mm) of the face when the contact switches."""
    return contact_z(scenario) - scenario.setter["main"].pre_travel_mm


def two_stage_scenario(chance: bool = False, **over: Any) -> Scenario:
    """The scenario, with the face standing at the start of the touch-off."""
    scenario = scenario_from_dict({**DATA, "chance": chance, **over})
    return at(scenario, X, Y)


def at(scenario: Scenario, x: float, y: float, up: float = RUN_UP_MM) -> Scenario:
    """The same scenario with the face starting ``up`` mm above first contact at another place."""
    start = (x, y, contact_z(scenario) + up)
    begin = scenario.controller.model_copy(update={"position_mm": start})
    return scenario.model_copy(update={"controller": begin})


def two_stage(controller: Any, contact: float) -> Generator[Any, Any, Any]:
    """Fast, back off, slow, up; returns the slow touch."""
    controller.require_quiet_input()
    rough = yield from controller.touch(z=contact - SEARCH_MM, feed_mm_per_min=FAST_MM_PER_MIN)
    yield from controller.feed(
        z=rough.z + BACK_OFF_MM, feed_mm_per_min=BACK_MM_PER_MIN, frame="machine"
    )
    fine = yield from controller.touch(z=rough.z - AGAIN_MM, feed_mm_per_min=SLOW_MM_PER_MIN)
    yield from controller.rapid(z=contact + RUN_UP_MM, frame="machine")
    return fine


def touches(controller: Any, contact: float, count: int) -> Generator[Any, Any, Any]:
    """``count`` fast touches, up again after each."""
    found = None
    for _ in range(count):
        found = yield from controller.touch(z=contact - SEARCH_MM, feed_mm_per_min=FAST_MM_PER_MIN)
        yield from controller.rapid(z=contact + RUN_UP_MM, frame="machine")
    return found


def unhurried(controller: Any, contact: float, wait_s: float, up: float) -> Any:
    """The same lines as ``two_stage`` from ``up`` mm above, with a wait after each."""
    rough = yield from controller.touch(z=contact - SEARCH_MM, feed_mm_per_min=FAST_MM_PER_MIN)
    yield from controller.dwell(wait_s)
    yield from controller.feed(z=contact + up, feed_mm_per_min=BACK_MM_PER_MIN, frame="machine")
    yield from controller.dwell(wait_s)
    fine = yield from controller.touch(z=rough.z - AGAIN_MM, feed_mm_per_min=SLOW_MM_PER_MIN)
    yield from controller.dwell(wait_s)
    yield from controller.rapid(z=contact + up, frame="machine")
    return fine


def twin_of(scenario: Scenario, stage: Stage, seed: int = 0) -> Twin:
    """A twin, ready to run once."""
    return Twin(scenario, seed=seed, stage=stage)
