"""What an exercise adds to a scenario: a goal, what is judged, proofs, hints, a drawn fault."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field, PositiveFloat, field_validator, model_validator

from drytouch.sim.scenario.units import Part

ProofName = Literal[
    "input-proved",
    "touches-agree",
    "cross-checked",
    "ten-touches",
    "block-from-below",
    "low-override",
    "known-tool",
]
StateName = Literal[
    "homed", "input-proved", "reference-valid", "clearance-stored", "no-alarm", "program-run"
]
_NUMBER = re.compile(r"row \d+ length|G5\d(\.\d)? z|[A-Za-z0-9_-]+ (reference|height|x|y)")


class Hint(Part):
    """One hint; hints are given in order."""

    text: str
    cost: int = Field(5, ge=0, le=50, description="points that asking for it costs")


class Ask(Part):
    """Something to find out, answered with one of the choices."""

    name: str
    ask: str
    choices: tuple[str, ...] = Field(min_length=2)
    answer: str
    because: str = Field("", description="told afterwards")

    @model_validator(mode="after")
    def _answerable(self) -> Ask:
        if self.answer not in self.choices:
            raise ValueError(f"answer '{self.answer}' is none of the choices")
        return self


class ProgramFile(Part):
    """A program that the trainee may run, beside those of the library."""

    name: str
    file: str


class WhatIsWrong(Part):
    """A fault drawn by seed from these; those that have no effect on the machine are passed over.

    The trainee is asked which it is, before it does harm.
    """

    faults: tuple[str, ...] = Field(min_length=2)
    ask: str = "What is wrong here?"


class Needs(Part):
    """What the machine must have; an exercise says so instead of starting where it can't end."""

    face_reaches: bool = Field(False, description="the bare face reaches the setter's pad")
    lugs: bool = Field(False, description="drive lugs stand proud of the face")
    forgets: bool = Field(False, description="its references are lost over an emergency stop")


class Exercise(Part):
    """The table ``[exercise]`` of a scenario of kind ``exercise``.

    An exercise is written for one machine and may be opened on any other, where the bench fits
    setter, tools, stock, block, places and tables to it. So its texts (goal, hints, questions, and
    the scenario's story) name no length and no tool: they use words, or figures in braces, which
    are filled in on the machine that it runs on: ``{row 2 length}``, ``{row 2 tool}``, ``{block}``,
    ``{longest tool}``, ``{beside bore}``.
    """

    goal: str = Field(min_length=1, description="one or two sentences to the trainee")
    teaches: str = Field("", description="told afterwards: what this was about")
    numbers: tuple[str, ...] = Field((), description='such as "row 1 length" or "G55 z"')
    states: tuple[StateName, ...] = ()
    questions: tuple[Ask, ...] = ()
    proofs: tuple[ProofName, ...] = ()
    hints: tuple[Hint, ...] = ()
    par_s: PositiveFloat = Field(600.0, description="simulated time that a practised person needs")
    not_allowed: tuple[str, ...] = Field((), description="actions that this exercise withholds")
    routines: tuple[str, ...] | None = Field(None, description="absent: all; only these else")
    programs: tuple[ProgramFile, ...] = ()
    what_is_wrong: WhatIsWrong | None = None
    needs: Needs = Needs()

    @field_validator("numbers")
    @classmethod
    def _known_numbers(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for name in value:
            if not _NUMBER.fullmatch(name):
                raise ValueError(
                    f"'{name}' is no number that is judged; write 'row 1 length', 'G54 z', or "
                    "a setter's name with reference, height, x or y"
                )
        return value

    @model_validator(mode="after")
    def _asks_something(self) -> Exercise:
        if not (self.numbers or self.states or self.questions or self.what_is_wrong):
            raise ValueError("nothing is judged: give numbers, states, questions or what_is_wrong")
        names = [question.name for question in self.questions]
        if len(set(names)) < len(names) or (self.what_is_wrong and "fault" in names):
            raise ValueError("two questions have the same name ('fault' is what_is_wrong's own)")
        return self
