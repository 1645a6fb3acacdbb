"""``drytouch schema``: what a kind of file may hold, for an editor."""

from __future__ import annotations

import sys

from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.results import as_json
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import MODELS
from drytouch.sim.scenario.schema import part_schema, scenario_schema


def schema(kind: str) -> int:
    """Print the schema; gives back the exit code.

    Raises:
        InputError: unknown kind.
    """
    if kind != "scenario" and kind not in MODELS:
        known = ", ".join(("scenario", *MODELS))
        raise InputError(f"there is no kind of file '{kind}'", fix=f"use one of: {known}")
    found = scenario_schema() if kind == "scenario" else part_schema(MODELS[kind])
    sys.stdout.write(as_json(found))
    return EXIT_AS_EXPECTED
