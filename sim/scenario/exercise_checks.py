"""Names in an exercise that must exist: faults, routines, actions, setters of numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from drytouch.sim.errors import StepError
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.messages import Problem
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import AnyStep


def exercise_problems(scenario: Scenario) -> Iterator[Problem]:
    """Everything that the table ``[exercise]`` names and nothing bears."""
    exercise = scenario.exercise
    if exercise is None:
        return
    # Imported here: both rooms read scenarios themselves.
    from drytouch.sim.faults import FAULTS, fault_named
    from drytouch.sim.routines.registry import ROUTINES

    where: tuple[str | int, ...]
    for index, name in enumerate(exercise.what_is_wrong.faults if exercise.what_is_wrong else ()):
        try:
            fault_named(name)
        except StepError:
            where = ("exercise", "what_is_wrong", "faults", index)
            yield Problem(where, f"there is no fault '{name}'", nearest(name, list(FAULTS)))
    for index, name in enumerate(exercise.routines or ()):
        if name not in ROUTINES:
            where = ("exercise", "routines", index)
            yield Problem(where, f"there is no routine '{name}'", nearest(name, list(ROUTINES)))
    for index, name in enumerate(exercise.not_allowed):
        if name not in _ACTIONS:
            where = ("exercise", "not_allowed", index)
            yield Problem(where, f"there is no action '{name}'", nearest(name, sorted(_ACTIONS)))
    for index, name in enumerate(exercise.numbers):
        first, _, last = name.rpartition(" ")
        if last in ("reference", "height", "x", "y") and first not in scenario.setter:
            where = ("exercise", "numbers", index)
            fix = nearest(first, list(scenario.setter))
            yield Problem(where, f"there is no setter '{first}'", fix)


_ACTIONS = frozenset(
    get_args(model.model_fields["do"].annotation)[0] for model in get_args(get_args(AnyStep)[0])
)
