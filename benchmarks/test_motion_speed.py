"""What planning and asking cost. Ratios matter more than figures; run with --benchmark-enable."""

from __future__ import annotations

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from drytouch.sim.motion import Limits, State, Track, from_rest, stop, to_goal
from drytouch.sim.motion.from_rest import relative_profile

LIMITS = Limits(50.0, 2000.0, 40_000.0)
RESTING = State(0.0, 0.0, 0.0)
IN_FLIGHT = State(1.0, 10.0, 500.0)


@pytest.fixture
def track() -> Track:
    made = Track()
    made.append(from_rest(100.0, LIMITS, 0.0))
    return made


def test_plan_from_rest_remembered(benchmark: BenchmarkFixture) -> None:
    assert benchmark(from_rest, 100.0, LIMITS, 0.0)[-1].s1 == 100.0


def test_plan_from_rest_new(benchmark: BenchmarkFixture) -> None:
    assert benchmark(relative_profile.__wrapped__, 100.0, LIMITS)[-1][-1] == 100.0


@pytest.mark.parametrize("state", [RESTING, IN_FLIGHT], ids=["resting", "in-flight"])
@pytest.mark.parametrize("goal", [1.8, 100.0], ids=["short", "long"])
def test_own_plan(benchmark: BenchmarkFixture, state: State, goal: float) -> None:
    assert benchmark(to_goal, state, 0.0, goal, LIMITS)[-1].s1 == goal


def test_stop(benchmark: BenchmarkFixture) -> None:
    assert benchmark(stop, IN_FLIGHT, 0.0, LIMITS)[-1].s1 > 1.0


@pytest.mark.parametrize("level", [0.1, 50.0, 101.0], ids=["ramp", "cruise", "never"])
def test_crossing(benchmark: BenchmarkFixture, track: Track, level: float) -> None:
    assert (benchmark(track.crossing, level, 0.0) is None) == (level > 100.0)


def test_state(benchmark: BenchmarkFixture, track: Track) -> None:
    assert benchmark(track.state_at, 1.0).v == pytest.approx(50.0)
