"""What a touch-off, and all that goes with it, costs on the twin.

Each benchmark says its goal. Goals are for one ordinary core; where no figure is given, it is the
ratio between the cases of one benchmark that counts. ``make speed`` runs them.
"""

from __future__ import annotations

import itertools
import json
import os
import random
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from touch_off_case import (
    X,
    Y,
    at,
    contact_z,
    touches,
    twin_of,
    two_stage,
    two_stage_scenario,
    unhurried,
)

from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scene import Body, Box, Cylinder, Placed, Sphere
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import Twin

GOAL_TOUCH_OFF_S = 0.8e-3
GOAL_HELP_S = 0.4
ROUNDS = 300
DEMONSTRATION = "length-done-right"


def time_routine(
    benchmark: BenchmarkFixture,
    scenario: Scenario,
    stage: Stage,
    routine: Callable[..., Any],
    *arguments: Any,
    place: Callable[[], tuple[float, float]] = lambda: (X, Y),
) -> Outcome:
    """Time one routine from its start to its outcome, each round on a new twin."""
    contact = contact_z(scenario)
    seeds = itertools.count()

    def ready() -> tuple[tuple[Twin], dict[str, Any]]:
        return (twin_of(at(scenario, *place()), stage, next(seeds)),), {}

    def run(twin: Twin) -> Outcome:
        return twin.run(routine, contact, *arguments)

    outcome: Outcome = benchmark.pedantic(run, setup=ready, rounds=ROUNDS, warmup_rounds=20)
    assert outcome.verdict == "right"
    assert outcome.recorder is not None
    assert outcome.recorder.lines
    benchmark.extra_info["events"] = len(outcome.recorder.events)
    benchmark.extra_info["simulated_s"] = round(outcome.time_s, 3)
    return outcome


def median_s(benchmark: BenchmarkFixture) -> float:
    return float(benchmark.stats.stats.median) if benchmark.stats is not None else 0.0


# ---- a touch-off ---------------------------------------------------------------------------


@pytest.mark.parametrize("chance", [False, True], ids=["plain", "chance"])
def test_two_stage_touch_off(benchmark: BenchmarkFixture, chance: bool) -> None:
    """Two stages, findings and recording on the whole machining centre: 0.8 ms (median)."""
    scenario = two_stage_scenario(chance)
    time_routine(benchmark, scenario, Stage(scenario), two_stage)
    assert median_s(benchmark) < GOAL_TOUCH_OFF_S


@pytest.mark.parametrize("count", [1, 2, 5, 10])
def test_cost_follows_the_number_of_touches(benchmark: BenchmarkFixture, count: int) -> None:
    """Cost grows with the number of events: ten touches cost at most ten times one."""
    scenario = two_stage_scenario()
    outcome = time_routine(benchmark, scenario, Stage(scenario), touches, count)
    assert outcome.recorder is not None
    assert sum(kind == "latch" for _, kind, _ in outcome.recorder.events) == count


@pytest.mark.parametrize(("wait_s", "up_mm"), [(0.0, 3.0), (0.0, 30.0), (60.0, 3.0), (60.0, 30.0)])
def test_cost_ignores_simulated_time(
    benchmark: BenchmarkFixture, wait_s: float, up_mm: float
) -> None:
    """The same events with minutes of waiting, or ten times the way: the same within a tenth."""
    scenario = two_stage_scenario()
    time_routine(benchmark, scenario, Stage(scenario), unhurried, wait_s, up_mm)


# ---- what stands about ---------------------------------------------------------------------


def crowded(scenario: Scenario, count: int) -> Stage:
    """The stage with ``count`` more bodies on the table, clear of the setter."""
    stage = Stage(scenario)
    table, side = scenario.machine.table, int((1.2 * count) ** 0.5) + 2
    low = (table.centre_x_mm - table.size_x_mm / 2, table.centre_y_mm - table.size_y_mm / 2)
    pitch = (table.size_x_mm / side, table.size_y_mm / side)
    size = min(pitch) * 0.6
    free = (
        (low[0] + (i + 0.5) * pitch[0], low[1] + (j + 0.5) * pitch[1])
        for i, j in itertools.product(range(side), range(side))
    )
    # The setter's base reaches 33 mm, the tool's holder 20 mm.
    spots = [p for p in free if max(abs(p[0] - X), abs(p[1] - Y)) > 60.0 + size]
    assert len(spots) >= count
    for k, (x, y) in enumerate(random.Random(1).sample(spots, count)):
        shape = (Box(size, size, 10), Cylinder(size / 2, 10), Sphere(size / 2))[k % 3]
        part = Placed(shape, (x, y, table.top_z_mm + 5))
        stage.scene.place(Body(f"block {k}", "table", (part,)))
    return stage


@pytest.mark.parametrize("fresh", [False, True], ids=["known-place", "new-place"])
@pytest.mark.parametrize("count", [0, 10, 100, 1000])
def test_cost_against_bodies(benchmark: BenchmarkFixture, count: int, fresh: bool) -> None:
    """With bodies about: the same cost at a known place; 1000 under 5 ms at a new one.

    A known place has its contacts in memory, a new one asks for the whole column once.
    """
    scenario = two_stage_scenario()
    chance = random.Random(2)

    def place() -> tuple[float, float]:
        if not fresh:
            return X, Y
        return X + chance.uniform(-10.0, 10.0), Y + chance.uniform(-10.0, 10.0)

    time_routine(benchmark, scenario, crowded(scenario, count), two_stage, place=place)


# ---- around it -----------------------------------------------------------------------------


def test_building_a_twin_on_a_shared_stage(benchmark: BenchmarkFixture) -> None:
    """A twin for one more trial: 0.1 ms."""
    scenario = two_stage_scenario()
    stage = Stage(scenario)
    assert benchmark(twin_of, scenario, stage).stage is not stage


def test_building_a_stage(benchmark: BenchmarkFixture) -> None:
    """All bodies of a scenario, once for all its trials: 20 ms."""
    assert len(benchmark(Stage, two_stage_scenario()).scene.bodies) > 3


def test_loading_a_demonstration(benchmark: BenchmarkFixture) -> None:
    """A file of the library to a checked scenario: 0.1 s."""
    path = library.path("scenario", DEMONSTRATION)
    assert benchmark(load_scenario, path).steps


def test_running_the_steps_of_a_demonstration(benchmark: BenchmarkFixture) -> None:
    """A loaded scenario's steps from a new twin to the outcome: 5 ms."""
    scenario = load_scenario(library.path("scenario", DEMONSTRATION))
    stage = Stage(scenario)
    outcome = benchmark(lambda: Twin(scenario, stage=stage).run_steps())
    assert outcome.verdict == "right"


def test_recording_to_json(benchmark: BenchmarkFixture) -> None:
    """The recording of a demonstration as text: 5 ms."""
    outcome = Twin(load_scenario(library.path("scenario", DEMONSTRATION))).run_steps()
    assert outcome.recorder is not None
    text = benchmark(lambda: json.dumps(outcome.recorder.to_dict()))  # type: ignore[union-attr]
    benchmark.extra_info["bytes"] = len(text)
    assert text.startswith("{")


def test_help_of_the_command_line(benchmark: BenchmarkFixture) -> None:
    """``drytouch --help`` from a cold process: 0.4 s (median)."""
    code = "from drytouch.sim.commands.main import main; main()"
    environment = {**os.environ, "COLUMNS": "100"}

    def ask() -> str:
        return subprocess.run(
            [sys.executable, "-c", code, "--help"],
            capture_output=True, text=True, check=True, env=environment,
        ).stdout  # fmt: skip

    assert "demo" in benchmark.pedantic(ask, rounds=11, warmup_rounds=1)
    assert median_s(benchmark) < GOAL_HELP_S
