"""Figures in an exercise's texts: written as names in braces, filled from the scenario as it runs.

An exercise may run on any machine, with another setter, other tools, another block. A text that
needs a figure says which one::

    {row 2 length}   what the sheet or certificate of that row's tool says, face to tip
    {row 2 tool}     that tool's name in a sentence
    {block}          size of the gauge block
    {longest tool}   length of the longest tool of the crib
    {beside bore}    how far beside the pad's middle the spindle axis stands, for the face's ring

Lengths come with their unit, the scenario's own display unit. Braces that name nothing known are an
error when the exercise is opened.
"""

from __future__ import annotations

import re
from typing import Any

from drytouch.sim.bench.fitting.places import beside_bore
from drytouch.sim.bench.fitting.stand_ins import in_a_sentence
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.tool import Tool

_NAMED = re.compile(r"\{([^{}]*)\}")
_ROW = re.compile(r"row (\d+) (length|tool)")
_MM_PER_INCH = 25.4


def told(scenario: Scenario) -> Scenario:
    """The scenario with the figures of its story and of its exercise's texts filled in.

    Raises:
        InputError: a text names a figure that there is none of.
    """
    exercise = scenario.exercise
    if exercise is None:
        return scenario

    def fill(text: str) -> str:
        return _NAMED.sub(lambda found: _figure(scenario, found[1]), text)

    changes: dict[str, Any] = {"goal": fill(exercise.goal), "teaches": fill(exercise.teaches)}
    changes["hints"] = tuple(
        hint.model_copy(update={"text": fill(hint.text)}) for hint in exercise.hints
    )
    changes["questions"] = tuple(
        asked.model_copy(
            update={
                "ask": fill(asked.ask),
                "because": fill(asked.because),
                "choices": tuple(map(fill, asked.choices)),
                "answer": fill(asked.answer),
            }
        )
        for asked in exercise.questions
    )
    return scenario.model_copy(
        update={"story": fill(scenario.story), "exercise": exercise.model_copy(update=changes)}
    )


def _figure(scenario: Scenario, name: str) -> str:
    lengths = [tool.nominal_length_mm for tool in scenario.tools.values()]
    row = _ROW.fullmatch(name)
    if row is not None:
        entry = scenario.controller.rows.get(int(row[1]))
        tool = scenario.tools.get(entry.tool or "") if entry else None
        if tool is not None:
            return in_a_sentence(tool) if row[2] == "tool" else _size(scenario, sheet_length(tool))
    elif name == "block" and scenario.blocks:
        return _size(scenario, next(iter(scenario.blocks.values())).size_mm)
    elif name == "longest tool" and lengths:
        return _size(scenario, max(lengths))
    elif name == "beside bore":
        return _size(scenario, beside_bore(scenario))
    raise InputError(
        f"a text of the exercise names '{{{name}}}', and there is no such figure here",
        key="exercise",
        fix="use {row N length}, {row N tool}, {block}, {longest tool} or {beside bore}",
    )


def sheet_length(tool: Tool) -> float:
    """What a tool's certificate says, or else the sheet of its holder and cutter, mm."""
    return tool.certified_length_mm or tool.nominal_length_mm


def _size(scenario: Scenario, mm: float) -> str:
    if scenario.display == "inch":
        return f"{mm / _MM_PER_INCH:.4f}".rstrip("0").rstrip(".") + " in"
    return f"{mm:.3f}".rstrip("0").rstrip(".") + " mm"
