"""Opening a session: the exercise on the machine that is asked for, and the fault that is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.random import PCG64, Generator, SeedSequence

from drytouch.sim.bench.fitting import fitted
from drytouch.sim.bench.programs import offered
from drytouch.sim.bench.words import told
from drytouch.sim.errors import InputError
from drytouch.sim.faults import NotHere, fault_named
from drytouch.sim.scenario.exercise import Ask, Exercise
from drytouch.sim.scenario.load import load_part, load_scenario
from drytouch.sim.scenario.scenario import Fault, Scenario

# The fault is drawn from a stream of its own, apart from those of the twin's chance.
_DRAW_KEY = 1000


@dataclass(frozen=True, slots=True)
class Opened:
    """What a session starts from."""

    scenario: Scenario
    exercise: Exercise | None
    name: str
    questions: tuple[Ask, ...]
    programs: dict[str, Path]
    fault: str | None = None

    def shown(self, answers: dict[str, str], hints_used: int) -> dict[str, Any] | None:
        """The exercise as the trainee sees it."""
        exercise = self.exercise
        if exercise is None:
            return None
        from drytouch.sim.bench.proofs import PROOFS
        from drytouch.sim.bench.scoring import rules

        return {
            "name": self.name,
            "title": self.scenario.title,
            "story": self.scenario.story,
            "goal": exercise.goal,
            "numbers": list(exercise.numbers),
            "states": list(exercise.states),
            "proofs": [{"proof": name, "words": PROOFS[name].words} for name in exercise.proofs],
            "questions": [
                {"question": q.name, "ask": q.ask, "choices": list(q.choices),
                 "answer": answers.get(q.name)}
                for q in self.questions
            ],
            "hints_given": [hint.text for hint in exercise.hints[:hints_used]],
            "hints_left": [hint.cost for hint in exercise.hints[hints_used:]],
            "par_s": exercise.par_s,
            "not_allowed": list(exercise.not_allowed),
            "routines": None if exercise.routines is None else list(exercise.routines),
            "rules": [rule.to_dict() for rule in rules()],
        }  # fmt: skip


def opened(
    scenario: str | Path | Scenario,
    machine: str | Path | None = None,
    seed: int | None = None,
) -> Opened:
    """Read, fit to the machine, and draw.

    Raises:
        InputError: no such scenario or machine, or one lacks what the other needs.
    """
    base = scenario if isinstance(scenario, Scenario) else load_scenario(scenario)
    if machine is not None:
        base = fitted(base, load_part("machine", machine))
    base = told(base)
    exercise = base.exercise
    changes: dict[str, Any] = {"steps": ()}
    if seed is not None:
        changes["seed"] = seed
    base = base.model_copy(update=changes)
    questions = exercise.questions if exercise else ()
    fault = None
    if exercise is not None and exercise.what_is_wrong is not None:
        base, fault, asked = _drawn(base, exercise)
        questions = (*questions, asked)
    return Opened(base, exercise, base.name, questions, offered(exercise), fault)


def _drawn(scenario: Scenario, exercise: Exercise) -> tuple[Scenario, str, Ask]:
    wanted = exercise.what_is_wrong
    assert wanted is not None
    possible = [name for name in wanted.faults if _has_effect(scenario, name)]
    if len(possible) < 2:
        raise InputError(
            "of the faults of this exercise fewer than two can happen on this machine",
            key="exercise.what_is_wrong",
            fix="use another machine, or name further faults",
        )
    random = Generator(PCG64(SeedSequence(scenario.seed, spawn_key=(_DRAW_KEY,))))
    name = possible[int(random.integers(len(possible)))]
    titles = {each: fault_named(each).title for each in possible}
    asked = Ask(
        name="fault",
        ask=wanted.ask,
        choices=(*titles.values(), "Nothing"),
        answer=titles[name],
        because=fault_named(name).story,
    )
    return scenario.model_copy(update={"faults": (Fault(name=name),)}), name, asked


def _has_effect(scenario: Scenario, name: str) -> bool:
    try:
        fault_named(name)(scenario)
    except NotHere:
        return False
    return True
