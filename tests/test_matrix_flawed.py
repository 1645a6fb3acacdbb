"""Each flawed program of the library against its sound original, on a set-up without trouble."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from test_program_flawed import ORIGINALS, original_text

from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Noise, Scenario
from drytouch.sim.study.job import job_named
from drytouch.sim.study.matrix import Matrix, run_matrix


def healthy(name: str) -> Scenario:
    """The flawed program's set-up, mended: tool, setter, wire and tables are what they seem."""
    scenario = load_scenario(library.path("demonstration", f"flawed-{name}"))
    tools = {
        key: tool.model_copy(update={"pulled_out_mm": 0.0, "worn_mm": 0.0})
        for key, tool in scenario.tools.items()
    }
    row = scenario.controller.rows[1]
    changes: dict[str, Any] = {"expect": None, "tools": tools}
    if row.length_mm is not None and row.tool is not None:
        changes["spindle_tool"] = row.tool  # a recheck on the tool whose length is stored
    changes["truth"] = scenario.truth.model_copy(update={"noise": Noise()})
    changes["controller"] = scenario.controller.model_copy(update={"shift_mm": (0.0, 0.0, 0.0)})
    record = scenario.controller.records["setter"]
    place = scenario.placements["setter"]
    if place.on == "table":
        moved = place.model_copy(update={"x_mm": record.x_mm, "y_mm": record.y_mm})
        changes["placements"] = {**scenario.placements, "setter": moved}
    return scenario.model_copy(update=changes)


def matrix_of(name: str, program: Path) -> Matrix:
    scenario = healthy(name)
    return run_matrix(job_named(str(program), scenario), scenario, workers=1)


@pytest.mark.parametrize("name", ORIGINALS)
def test_a_planted_mistake_costs_points(name: str, tmp_path: Path) -> None:
    path = tmp_path / f"{ORIGINALS[name]}.ngc"
    path.write_text(original_text(name), "utf-8")
    sound, flawed = matrix_of(name, path), matrix_of(name, library.path("program", name))
    assert sound.score is not None
    # No score at all is the lowest: not even right when nothing is wrong.
    assert flawed.score is None or flawed.score < sound.score
