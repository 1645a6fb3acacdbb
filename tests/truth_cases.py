"""Small set-ups for the judge: the machining centre, a setter, one tool; steps as plain data."""

from __future__ import annotations

from typing import Any

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.truth.finding import Finding
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

# Table top at -540, pad 60 mm above it, trip after 0.1 mm; the nut's lost motion is 1 um, half of
# it on the way down: the bare face reads this when it trips the pad.
REFERENCE_Z = -540.0 + 60.0 - 0.1 - 0.0005
UP = {"do": "move", "z_mm": 0.0}
OVER = {"do": "move", "x_mm": -600.0, "y_mm": -200.0}
OFF = {"do": "drives", "on": False}
ON = {"do": "drives", "on": True}
HOME = {"do": "home"}


def data(**changes: Any) -> dict[str, Any]:
    """A proved, referenced setter and a 10 mm end mill of 120 mm in the spindle; no chance."""
    base: dict[str, Any] = {
        "name": "case",
        "chance": False,
        "machine": "machining-centre",
        "setter": {"setter": {"use": "bolted-nc"}},
        "tools": ["end-mill-10", "end-mill-6"],
        "stock": ["aluminium-block"],
        "blocks": ["block-50"],
        "spindle_tool": "end-mill-10",
        "placements": {
            "setter": {"x_mm": -600.0, "y_mm": -200.0},
            "aluminium-block": {"x_mm": -300.0, "y_mm": -200.0},
        },
        "controller": {
            "slot": 1,
            "proved": ["setter"],
            "plugs": {"setter": "setter"},
            "rows": {1: {"tool": "end-mill-10"}, 2: {"tool": "end-mill-6"}},
            "records": {
                "setter": {
                    "x_mm": -600.0,
                    "y_mm": -200.0,
                    "clearance_z_mm": -440.0,
                    "height_mm": 59.9,
                    "reference_z_mm": REFERENCE_Z,
                    "reference_valid": True,
                }
            },
        },
    }
    return merged(base, changes)


def merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """``base`` with ``changes`` merged in, table by table."""
    out = dict(base)
    for key, value in changes.items():
        known = out.get(key)
        both = isinstance(value, dict) and isinstance(known, dict)
        out[key] = merged(known, value) if both else value
    return out


def twin(steps: list[dict[str, Any]], **changes: Any) -> Twin:
    """A twin of the case with these steps and changes."""
    scenario: Scenario = scenario_from_dict(data(steps=steps, **changes))
    return Twin(scenario)


def run(steps: list[dict[str, Any]], **changes: Any) -> Outcome:
    """What the steps come to."""
    return twin(steps, **changes).run_steps()


def only(outcome: Outcome, code: str) -> Finding:
    """The one finding of this code."""
    found = [finding for finding in outcome.findings if finding.code == code]
    assert len(found) == 1, [f.what for f in outcome.findings]
    return found[0]


def touch(z_mm: float, feed: float = 25.0, **more: Any) -> dict[str, Any]:
    """A bare touch down to ``z_mm``."""
    return {"do": "touch", "z_mm": z_mm, "feed_mm_per_min": feed, **more}


def down(z_mm: float) -> list[dict[str, Any]]:
    """Up, over the pad, and down at rapid."""
    return [UP, OVER, {"do": "move", "z_mm": z_mm}]


def jog(by_mm: float, speed: float, axis: str = "z") -> dict[str, Any]:
    """A jog by a distance."""
    return {"do": "jog", "axis": axis, "by_mm": by_mm, "speed_mm_per_min": speed}


def routine(name: str, **arguments: Any) -> dict[str, Any]:
    """A built-in routine."""
    return {"do": "routine", "name": name, "with": arguments}


MEASURE = routine("measure-length", row=1, expected_length_mm=120.0)
