"""What a page is told once: looks, exercises, machines, routines, faults."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from drytouch.sim.bench.words import told
from drytouch.sim.errors import DrytouchError
from drytouch.sim.faults import FAULTS
from drytouch.sim.routines import ROUTINES
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_part, load_scenario
from drytouch.viz import look
from drytouch.viz.page_data import looks


@lru_cache(maxsize=1)
def tables() -> dict[str, Any]:
    """Everything that does not depend on a session; read once."""
    return {
        "look": looks(),
        "caution": look.CAUTION,
        "exercises": _exercises(),
        "machines": [
            {"name": name, "title": load_part("machine", name).title}
            for name in library.names("machine")
        ],
        "routines": [_routine(name) for name in sorted(ROUTINES)],
        "faults": [
            {"name": name, "title": entry.title} for name, entry in sorted(FAULTS.items())
        ],
    }  # fmt: skip


def _exercises() -> list[dict[str, Any]]:
    found = []
    for name in library.names("exercise"):
        try:
            scenario = told(load_scenario(library.path("exercise", name)))
        except DrytouchError:
            continue  # `drytouch check` says what is wrong with it; the others still work
        exercise = scenario.exercise
        if exercise is not None:
            found.append(
                {
                    "name": name,
                    "title": scenario.title,
                    "goal": " ".join(exercise.goal.split()),
                    "machine": scenario.machine.name,
                    "par_s": exercise.par_s,
                }
            )
    return sorted(found, key=lambda entry: entry["par_s"])


def _routine(name: str) -> dict[str, Any]:
    entry = ROUTINES[name]
    return {
        "name": name.replace("_", "-"),
        "summary": entry.summary,
        "arguments": [
            {
                "name": argument.name,
                "unit": argument.unit,
                "kind": argument.kind,
                "required": argument.required,
                "default": argument.default,
            }
            for argument in entry.arguments
        ],
    }
