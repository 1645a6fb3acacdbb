"""A saved scenario loads as an equal one."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario, scenario_from_dict
from drytouch.sim.scenario.save import scenario_to_toml
from drytouch.sim.scenario.scenario import Scenario

FULL: dict[str, Any] = {
    "name": "full",
    "title": 'quotes " and \\ and \u007f and é',
    "story": "two\nlines",
    "display": "inch",
    "seed": 7,
    "chance": False,
    "machine": {"use": "machining-centre", "servo": {"tick_s": 0.0005}},
    "setter": {
        "kind": {"use": "bolted-nc", "tilt_deg": 0.3},
        "air": {"use": "wireless-nc", "link": {"battery": False}},
    },
    "tools": ["drill-8", {"use": "face-mill-80", "worn_um": 3}, {"use": "end-mill-half-inch"}],
    "stock": {"s": "vise", "t": {"parts": [{"size_mm": [10, 20, 30], "turn_deg": [0, 0, 45]}]}},
    "blocks": {"k": {"size_in": 1}},
    "placements": {"kind": {"x_mm": -500, "y_mm": -200}, "s": {"x_in": -10, "y_mm": -200}},
    "spindle_tool": "drill-8",
    "controller": {
        "rows": {"1": {"length_mm": 0.1}, "12": {"tool": "drill-8", "wear_mm": -0.02}},
        "systems": {"G54": [1e-7, -2.5e3, 1 / 3], "G59.3": [0, 0, 0]},
        "records": {"kind": {"x_mm": -500, "reference_valid": True}},
        "plugs": {"kind": "setter"},
        "proved": ["kind"],
        "parameters": {"100": 1.5},
    },
    "truth": {"noise": {"wire": "broken"}},
    "steps": [
        {"do": "jog", "axis": "z", "by_mm": -3},
        {"do": "routine", "name": "measure-length", "with": {"row": 3}},
        {"do": "place", "item": "k", "x_mm": -600, "y_mm": -200},
        {"do": "drives", "on": False},
    ],
    "meanwhile": [{"after": "contact", "delay_s": 0.01, "step": {"do": "e-stop"}}],
    "faults": [{"name": "setter-knocked", "with": {"setter": "kind", "by_x_mm": 0.5}}],
    "questions": [{"ask": "?", "choices": ["a", "b"], "answer": 2, "because": "c"}],
    "expect": {"verdict": "harm", "findings": ["crash"]},
}


def again(scenario: Scenario) -> Scenario:
    return scenario_from_dict(tomllib.loads(scenario_to_toml(scenario)))


def test_a_scenario_with_everything_survives(tmp_path: Path) -> None:
    scenario = scenario_from_dict(FULL)
    assert again(scenario) == scenario
    path = tmp_path / "saved.toml"
    path.write_text(scenario_to_toml(scenario), encoding="utf-8")
    assert load_scenario(path) == scenario
    assert scenario_to_toml(load_scenario(path)) == scenario_to_toml(scenario)


def test_a_saved_scenario_needs_no_other_file() -> None:
    text = scenario_to_toml(scenario_from_dict(FULL))
    assert "\nuse =" not in text
    assert "[[steps]]" in text
    assert "[setter.kind]" in text
    assert "seed = 7" in text
    assert "chance = false" in text


@pytest.mark.parametrize("machine", library.names("machine"))
@pytest.mark.parametrize("setter", library.names("setter"))
def test_every_machine_and_setter_survives(machine: str, setter: str) -> None:
    scenario = scenario_from_dict({"machine": machine, "setter": setter})
    assert again(scenario) == scenario
    assert again(scenario).machine.spindle.orient_deg == scenario.machine.spindle.orient_deg


def test_all_tools_and_stock_survive() -> None:
    scenario = scenario_from_dict(
        {
            "machine": "bed-mill",
            "tools": list(library.names("tool")),
            "stock": list(library.names("stock")),
            "blocks": list(library.names("block")),
        }
    )
    assert again(scenario) == scenario


NUMBER = st.floats(allow_nan=False, allow_infinity=False)


@given(NUMBER, st.text(st.characters(exclude_categories=["Cs"])), st.integers(0, 2**63 - 1))
def test_numbers_and_texts_survive_bit_for_bit(number: float, text: str, seed: int) -> None:
    scenario = scenario_from_dict(
        {
            "machine": "bed-mill",
            "title": text,
            "seed": seed,
            "controller": {"parameters": {"1": number}, "shift_mm": [number, 0, 1]},
        }
    )
    copy = again(scenario)
    assert copy.title == text
    assert copy.seed == seed
    assert repr(copy.controller.parameters[1]) == repr(number)
    assert repr(copy.controller.shift_mm) == repr((number, 0.0, 1.0))
