"""Scenarios that between them let every fault happen: cable, radio, plate, stepper, bare face."""

from __future__ import annotations

from typing import Any

from drytouch.sim.scenario.load import load_scenario, scenario_from_dict
from drytouch.sim.scenario.scenario import Scenario

X, Y = -600.0, -200.0
LENGTH_MM = 120.0  # of the library's end mill of 10 mm
REFERENCE_MM = -480.1  # table top, pad height and pre-travel of the library's bolted setter


def centre(**more: Any) -> Scenario:
    """A machining centre, a proved and referenced setter, an end mill in the spindle; no chance."""
    record = {
        "x_mm": X,
        "y_mm": Y,
        "clearance_z_mm": -440.0,
        "height_mm": 59.9,
        "reference_z_mm": REFERENCE_MM,
        "reference_valid": True,
    } | more.pop("record", {})
    controller: dict[str, Any] = {
        "slot": 1,
        "proved": ["main"],
        "plugs": {"main": "setter"},
        "rows": {"1": {"tool": "end-mill-10"}, "2": {"tool": "end-mill-6"}},
        "records": {"main": record},
    } | more.pop("controller", {})
    data: dict[str, Any] = {
        "name": "bench",
        "machine": "machining-centre",
        "chance": False,
        "setter": {"main": "bolted-nc"},
        "tools": ["end-mill-10", "end-mill-6"],
        "spindle_tool": "end-mill-10",
        "placements": {"main": {"x_mm": X, "y_mm": Y}},
        "controller": controller,
        "steps": [
            {
                "do": "routine",
                "name": "measure-length",
                "with": {"row": 1, "expected_length_mm": LENGTH_MM},
            }
        ],
    } | more
    return scenario_from_dict(data)


def varied() -> dict[str, Scenario]:
    """Scenarios in which, taken together, every fault of the catalogue can happen."""
    two = {"main": "bolted-nc", "second": "loose-no"}
    typed = {"1": {"tool": "end-mill-10", "length_mm": 120.0}, "2": {"tool": "end-mill-6"}}
    machine = {
        "use": "machining-centre",
        "habits": {"touch_obeys_override": True},
    }
    return {
        "plain": centre(chance=True),
        "typed": centre(
            setter=two,
            blocks=["block-50"],
            machine=machine,
            controller={
                "rows": typed,
                "slot": 1,
                "plugs": {"main": "setter"},
                "rapid_override": 0.25,
            },
        ),
        "radio": centre(setter={"main": "wireless-nc"}),
        "plate": centre(setter={"main": "plate"}),
        "bare": centre(spindle_tool=None, controller={"slot": 0}),
        "stepper": load_scenario("lost-steps"),
    }
