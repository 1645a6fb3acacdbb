"""Where a program is: one frame per call, and which line comes next."""

from __future__ import annotations

from dataclasses import dataclass, field

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.flow import LOOP_NUMBERS, Program
from drytouch.sim.program.line import Flow
from drytouch.sim.program.reading import Reading


@dataclass(slots=True)
class Frame:
    """A program at a line; ``given`` are its call's arguments, ``rounds`` those of its loops."""

    program: Program
    index: int = 0
    repeats_left: int = 0
    given: dict[int, float | None] = field(default_factory=dict)
    rounds: dict[int, int] = field(default_factory=dict)

    def locals(self) -> dict[int, float | None]:
        """Return fresh local parameters, filled with the arguments of the call."""
        return dict(self.given)


def next_index(frame: Frame, index: int, flow: Flow, reading: Reading, loop_limit: int) -> int:
    """Return the line that runs after the flow statement at ``index``; raises E-FLOW."""
    program = frame.program
    if flow.kind == "GOTO":
        return program.find(reading.integer(flow.target, flow.at, "a label"), index)
    if flow.kind == "END":
        return _loop_start(program, index, flow, reading)
    assert flow.condition is not None
    holds = reading.value(flow.condition, flow.at) not in (None, 0.0)
    if flow.kind == "IF":
        target = reading.integer(flow.target, flow.at, "a label")
        return program.find(target, index) if holds else index + 1
    partner = _partner(program, index, flow)
    if reading.integer(flow.target, flow.at, "a loop number") not in LOOP_NUMBERS:
        raise ProgramError("E-FLOW", "a loop has the number 1, 2 or 3", column=flow.at + 1)
    if not holds:
        frame.rounds.pop(index, None)
        return partner + 1
    frame.rounds[index] = frame.rounds.get(index, 0) + 1
    if frame.rounds[index] > loop_limit:
        raise ProgramError("E-FLOW", f"the loop ran more than {loop_limit} times")
    return index + 1


def _loop_start(program: Program, index: int, flow: Flow, reading: Reading) -> int:
    start = _partner(program, index, flow)
    opening = program.line(start).flow
    assert opening is not None
    numbers = {reading.integer(f.target, f.at, "a loop number") for f in (opening, flow)}
    if len(numbers) > 1:
        raise ProgramError("E-FLOW", "END and DO have different numbers")
    return start


def _partner(program: Program, index: int, flow: Flow) -> int:
    partner = program.partners.get(index)
    if partner is None:
        other = "END" if flow.kind == "WHILE" else "WHILE"
        raise ProgramError("E-FLOW", f"{flow.kind} without its {other}")
    return partner
