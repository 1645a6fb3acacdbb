"""What faults, a matrix and the pytest plugin cost.

Goals are for one ordinary core. ``make speed`` runs them.
"""

from __future__ import annotations

import subprocess
import sys

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from drytouch.sim.faults import FAULTS, NotHere
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.job import job_named
from drytouch.sim.study.matrix import run_matrix

GOAL_FAULT_S = 50e-6  # a small part of the run that follows it
GOAL_MATRIX_S = 1.0  # every fault once, so that a developer waits for nothing
# An empty suite takes about 200 ms, give or take 20: a quarter of that scatter can't be noticed.
GOAL_PLUGIN_S = 5e-3


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return load_scenario("length-done-right")


def test_putting_a_fault_in(benchmark: BenchmarkFixture, scenario: Scenario) -> None:
    possible = []
    for entry in FAULTS.values():
        try:
            entry(scenario)
        except NotHere:
            continue
        possible.append(entry)

    def all_once() -> None:
        for entry in possible:
            entry(scenario)

    benchmark(all_once)
    mean_s = benchmark.stats.stats.mean / len(possible)
    benchmark.extra_info["mean_of_one_us"] = mean_s * 1e6
    assert mean_s < GOAL_FAULT_S


def test_every_fault_once(benchmark: BenchmarkFixture, scenario: Scenario) -> None:
    job = job_named("measure-length", scenario)
    benchmark.pedantic(run_matrix, (job, scenario), rounds=5, warmup_rounds=1)
    assert benchmark.stats.stats.median < GOAL_MATRIX_S


def test_every_two_faults(benchmark: BenchmarkFixture, scenario: Scenario) -> None:
    job = job_named("measure-length", scenario)
    matrix = benchmark.pedantic(run_matrix, (job, scenario), {"pairs": True}, rounds=1)
    benchmark.extra_info["pairs"] = len(matrix.pairs)


@pytest.mark.benchmark(group="plugin")
def test_reading_the_plugin_in_a_suite_that_does_not_use_it(benchmark: BenchmarkFixture) -> None:
    program = (
        "import pytest, time; t = time.perf_counter(); import drytouch.sim.pytest_plugin; "
        "print(time.perf_counter() - t)"
    )

    taken: list[float] = []

    def read() -> None:
        found = subprocess.run(
            [sys.executable, "-c", program], check=True, capture_output=True, text=True
        )
        taken.append(float(found.stdout))

    benchmark.pedantic(read, rounds=9)
    median_s = sorted(taken)[len(taken) // 2]
    benchmark.extra_info["reading_it_ms"] = median_s * 1e3
    assert median_s < GOAL_PLUGIN_S
