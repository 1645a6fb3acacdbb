"""Small sets of trials for the tests of trials: plans, parts, and ways to do them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import Hands, OwnHands
from drytouch.sim.study.trials_plan import Plan
from drytouch.sim.study.vary import parse_varies

LENGTH = "length-done-right"
# One value by chance, one in turn, one that moves a body.
VARIES = (
    "setter.setter.pre_travel_um=uniform:90,110",
    "controller.records.setter.slow_mm_per_min=list:25,50",
    "tools.end-mill-10.worn_um=normal:20,2",
)


@cache
def length_scenario() -> Scenario:
    return load_scenario(LENGTH)


def plan_of(count: int, varies: Sequence[str] = VARIES, seed: int = 1) -> Plan:
    scenario = length_scenario()
    return Plan(scenario, parse_varies(scenario, varies), count, seed)


def bytes_of(
    folder: Path, plan: Plan, hands: Callable[[Plan], Hands] = OwnHands, resume: bool = False
) -> bytes:
    """All parts, in order, as they are on disk."""
    parts = Parts(folder, plan)
    parts.open(resume)
    do_trials(parts, hands(plan))
    assert parts.missing() == []
    return b"".join(parts.path(number).read_bytes() for number in range(plan.parts))
