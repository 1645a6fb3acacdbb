"""What a scenario's parts say about each other: names that must exist, places that must fit."""

from __future__ import annotations

from collections.abc import Iterator

from drytouch.sim.scenario.messages import Problem
from drytouch.sim.scenario.scenario import Scenario


def problems_in(scenario: Scenario) -> Iterator[Problem]:
    """Everything about the scenario as a whole that can't be."""
    return iter(())
