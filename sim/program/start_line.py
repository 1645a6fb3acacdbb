"""Start in the middle of a program: what would be in force there, told before anything moves."""

from __future__ import annotations

from collections.abc import Generator
from copy import deepcopy
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from drytouch.sim.program import modal as m
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.flow import Program
from drytouch.sim.program.ideal import IdealMachine
from drytouch.sim.program.machine import Machine, TouchResult, Vector
from drytouch.sim.program.state import State, take_from_machine

if TYPE_CHECKING:
    from drytouch.sim.program.interpreter import Interpreter, Options


class _Rehearsal(IdealMachine):
    """The ideal machine with the real one's tables; a touch is refused, for nobody knows it."""

    def touch(
        self, target_mm: Vector, feed_mm_per_min: float, error_if_no_contact: bool, line: int
    ) -> Generator[Any, Any, TouchResult]:
        raise ProgramError(
            "E-STATE",
            f"can't start past the touch on line {line}: only the touch itself gives its result; "
            "start at that line or before",
        )


def _rehearsal(machine: Machine) -> _Rehearsal:
    rows = {row: machine.tool_row(row) for row in range(1, machine.slots + 1)}
    return _Rehearsal(
        position=machine.position_mm,
        tool_rows={row: stored for row, stored in rows.items() if stored is not None},
        origins=machine.work_origins_mm(),
        homes=machine.homes_mm(),
        limits=machine.limits_mm,
        setter=machine.setter_record(),
        conditions=replace(machine.touch_conditions(), turning_allowed=True),
        tool=machine.loaded_tool,
        slots=machine.slots,
        logging=False,
    )


def start_from(
    interpreter: Interpreter, program: Program, options: Options
) -> Generator[Any, Any, int]:
    """Rebuild the state at ``options.start_line``, report it, wait, and return the line's index.

    The lines before it run on an ideal machine. Raises E-FLOW if they never lead there, E-STATE if
    a touch lies before it or another tool would be in the spindle.
    """
    goal = options.start_line - program.first_line
    if not 0 <= goal < len(program.entries):
        raise ProgramError("E-FLOW", f"line {options.start_line} is not in the program")
    machine = interpreter.machine
    stand_in = _rehearsal(machine)
    state = deepcopy(interpreter.state)
    ghost = type(interpreter)(stand_in, interpreter.settings, state)
    _run_up_to(ghost, program, options)
    if stand_in.tool != machine.loaded_tool:
        raise ProgramError(
            "E-STATE",
            f"at line {options.start_line} tool {stand_in.tool} would be in the spindle, "
            f"but tool {machine.loaded_tool} is: load it first",
        )
    machine.message(report(state, options.start_line))
    yield from machine.pause(False, f"start from line {options.start_line}")
    _take_over(interpreter.state, state)
    take_from_machine(interpreter.state, machine)
    machine.write_active(interpreter.state.active(), options.start_line)
    machine.enable_overrides(state.modal.overrides == 48)
    direction = {3: 1, 4: -1}.get(state.modal.spindle, 0)
    if direction:
        yield from machine.turn_spindle(direction, state.speed_rpm)
    return goal


class _Arrived(Exception):
    """The rehearsal has come to the line to start from."""


def _run_up_to(ghost: Interpreter, program: Program, options: Options) -> None:
    def watch(file: str, line: int, text: str) -> None:
        if line == options.start_line and len(ghost.state.parameters.frames) == 0:
            raise _Arrived

    quiet = replace(options, start_line=0, single_block=False, on_line=watch)
    try:
        for _ in ghost.execute(program, quiet):
            pass
    except _Arrived:
        return
    raise ProgramError("E-FLOW", f"the program never comes to line {options.start_line}")


def _take_over(state: State, rebuilt: State) -> None:
    """Adopt the language's state; where the axes are and what the tables hold stays true."""
    for name in (
        "modal",
        "feed_mm_per_min",
        "speed_rpm",
        "selected_tool",
        "origin_mm",
        "shift_mm",
        "tool_length_mm",
        "tool_row",
    ):
        setattr(state, name, getattr(rebuilt, name))
    state.parameters.common = rebuilt.parameters.common


def report(state: State, line: int) -> str:
    """Return what is in force at ``line``, for a person to read before cycle start."""
    unit = "inch" if state.modal.units == 200 else "mm"
    feed = state.feed_mm_per_min / state.modal.unit_mm
    length = f"tool length row {state.tool_row}" if state.modal.length == 430 else "no tool length"
    return (
        f"at line {line}: {state.modal.report()}, F{feed:g} {unit}/min, S{state.speed_rpm:g}, "
        f"T{state.selected_tool}, {length}, G{m.SYSTEM_CODE[state.system] / 10:g}"
    )
