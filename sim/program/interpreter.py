"""Runs programs: one line after the other, each in the order that the standard lays down.

A line is evaluated and checked whole before any of it acts. What it then does is a table of steps
(``STEPS``, NISTIR 6556 section 3.8), each a small function of the run and the block.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

from drytouch.sim.program.block import ARGUMENT_PARAMETER, Block
from drytouch.sim.program.block_checks import check_block
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.flow import Program
from drytouch.sim.program.frames import Frame, next_index
from drytouch.sim.program.line import Line
from drytouch.sim.program.machine import Machine
from drytouch.sim.program.machine_values import setter_field
from drytouch.sim.program.modal import STOP, SYSTEM
from drytouch.sim.program.parameters import TABLES, origin_place
from drytouch.sim.program.reader import parse_line
from drytouch.sim.program.reading import Reading
from drytouch.sim.program.run import Run
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.squeeze import placed
from drytouch.sim.program.start_line import start_from
from drytouch.sim.program.state import State, start_state, take_from_machine
from drytouch.sim.program.steps import CALL_STEPS, STEPS

CALL_DEPTH_LIMIT = 4
# A routine of a few hundred lines between two moves is long; this many without time is a loop.
LINES_WITHOUT_TIME_LIMIT = 100_000
# The codes that write parameters of the tables.
TABLE_CODES = frozenset({100, 920, 921, 922, 923})
LOOP_LIMIT = 1_000_000


@dataclass(slots=True)
class Options:
    """The switches of the panel, which may change while the program runs, and limits.

    ``start_line`` is the line of the file (1-based) to start from; 0 for the beginning.
    ``on_line(file, line, text)`` is called before each line runs.
    """

    block_delete: bool = False
    optional_stop: bool = False
    single_block: bool = False
    start_line: int = 0
    library: dict[int, Program] = field(default_factory=dict)
    lines_without_time_limit: int = LINES_WITHOUT_TIME_LIMIT
    loop_limit: int = LOOP_LIMIT
    on_line: Callable[[str, int, str], None] | None = None


@dataclass(frozen=True, slots=True)
class Finished:
    """How a program ended: ``by`` is M2, M30 or %, ``lines`` how many lines were executed."""

    by: str
    lines: int


class Interpreter:
    """A control's language side: state that outlives programs, and the machine that it moves."""

    def __init__(
        self,
        machine: Machine,
        settings: LanguageSettings | None = None,
        state: State | None = None,
    ) -> None:
        self.machine = machine
        self.settings = settings or LanguageSettings()
        self.state = state or start_state(machine)
        self.reading = Reading(machine, self.settings, self.state)

    def read(self, number: int) -> float | None:
        """Return the value of a parameter, numbered ones and those that read the machine."""
        return self.reading.read(number)

    # One line.

    def _checked(self, line: Line) -> tuple[list[tuple[int, float | None]], Block]:
        """Evaluate and check a line; changes nothing."""
        writes, block = self.reading.line(line)
        check_block(block, self.state.modal, self.machine.slots)
        return writes, block

    def _run_line(self, line: Line, number: int, options: Options) -> Generator[Any, Any, Block]:
        """Evaluate, check and execute a line that is not flow; returns its block."""
        writes, block = self._checked(line)
        if block.m.get(STOP) == 99 and not self.state.parameters.frames:
            raise block.wrong("E-FLOW", "M99 outside a called program", "M99")
        kept = self.state.kept_tables() if _touches_tables(writes, block) else None
        run = Run(self.state, self.machine, self.settings, block, number, options.optional_stop)
        for index, value in writes:
            field_name = setter_field(index)
            if field_name is None:
                self.state.parameters.write(index, value)
            else:
                run.setter_writes[field_name] = None if value is None else value * run.unit_mm
        run.origins_changed = {place for i, _ in writes if (place := origin_place(i)) is not None}
        try:
            if line.comments:
                run.comment(line.comments[-1])
            for applies, step in STEPS if not block.call else CALL_STEPS:
                if applies(block):
                    yield from step(run)
        except BaseException:
            # Whatever stopped the line, a reset included: the tables are as before it.
            if kept is not None and not run.committed:
                self.state.restore_tables(kept)
                run.tell_active()
            raise
        return block

    def execute_line(self, text: str, options: Options | None = None) -> Generator[Any, Any, Block]:
        """Run one line as typed by hand (MDI). Flow needs a program; a call is allowed."""
        options = options or Options()
        take_from_machine(self.state, self.machine)
        self.reading.start_memory()
        line = parse_line(text, "typed", 1)
        try:
            if line.flow is not None or line.program is not None or line.percent:
                raise ProgramError("E-FLOW", "this needs a program; it can't be typed by itself")
            if line.block_delete and options.block_delete:
                self._checked(line)
                return Block()
            block = yield from self._run_line(line, 1, options)
            if block.call:
                yield from self._execute(
                    [self._call(block, options, 0)], options, called_by_hand=True
                )
            self.reading.remember()
            return block
        except ProgramError as error:
            raise placed(error, "typed", 1, text) from None

    # Programs.

    def execute(
        self, program: Program, options: Options | None = None
    ) -> Generator[Any, Any, Finished]:
        """Run ``program`` to its end.

        Raises ``ProgramError`` with the place, or whatever the machine raises.
        """
        options = options or Options()
        take_from_machine(self.state, self.machine)
        self.reading.start_memory()
        frame = Frame(program)
        if options.start_line:
            try:
                frame.index = yield from start_from(self, program, options)
            except ProgramError as error:
                raise error.located(program.file, options.start_line) from None
        return (yield from self._execute([frame], options))

    def _execute(
        self, frames: list[Frame], options: Options, called_by_hand: bool = False
    ) -> Generator[Any, Any, Finished]:
        parameters = self.state.parameters
        base = len(parameters.frames)
        if called_by_hand:
            parameters.frames.append(frames[-1].locals())
        try:
            return (yield from self._loop(frames, options, called_by_hand))
        finally:
            # Whatever ended the program, the caller's own parameters are back.
            del parameters.frames[base:]

    def _loop(
        self, frames: list[Frame], options: Options, called_by_hand: bool
    ) -> Generator[Any, Any, Finished]:
        executed = idle = 0
        last_time = self.machine.time_s
        while True:
            frame = frames[-1]
            program, index = frame.program, frame.index
            if index >= len(program.entries):
                if len(frames) > 1 or called_by_hand or not program.framed:
                    error = ProgramError("E-FLOW", "the program ran past its last line")
                    raise program.locate(error, max(index - 1, 0))
                return Finished("%", executed)
            try:
                end = yield from self._execute_at(frames, options)
            except ProgramError as error:
                raise _in_program(error, program, index) from None
            executed += 1
            if end == "M99" and len(frames) == 0:
                return Finished("M99", executed)
            if end in ("M2", "M30"):
                return Finished(end, executed)
            idle = idle + 1 if self.machine.time_s == last_time else 0
            last_time = self.machine.time_s
            if idle > options.lines_without_time_limit:
                message = f"{idle} lines ran and no time passed: the program goes round in a circle"
                raise program.locate(ProgramError("E-FLOW", message), index)

    def _execute_at(self, frames: list[Frame], options: Options) -> Generator[Any, Any, str]:
        """Run the line that the last frame is at and move on; returns the ending code, if any."""
        frame = frames[-1]
        program, index = frame.program, frame.index
        line = program.line(index)
        number = program.line_number(index)
        if options.on_line is not None:
            options.on_line(program.file, number, program.texts[index])
        frame.index += 1
        if line.block_delete and options.block_delete:
            self._checked(line)
            return ""
        if line.flow is not None:
            try:
                frame.index = next_index(frame, index, line.flow, self.reading, options.loop_limit)
            except ProgramError as error:
                raise error.located(column=line.flow.at + 1) from None
            self.reading.remember()
            return ""
        if line.is_blank:
            return ""
        block = yield from self._run_line(line, number, options)
        if block.m.get(STOP) in (0, 1, 60):
            self.reading.start_memory()
        else:
            self.reading.remember()
        if block.call:
            called = self._call(block, options, len(frames) - 1)
            self.state.parameters.frames.append(called.locals())
            frames.append(called)
        end = f"M{block.m[STOP]}" if block.m.get(STOP) in (2, 30, 99) else ""
        if end == "M99":
            self._return(frames)
        if options.single_block and end not in ("M2", "M30"):
            yield from self.machine.pause(False, f"line {number} is done (single block)")
            take_from_machine(self.state, self.machine)
        return end

    def _call(self, block: Block, options: Options, depth: int) -> Frame:
        if depth >= CALL_DEPTH_LIMIT:
            raise block.wrong("E-FLOW", f"calls nest {CALL_DEPTH_LIMIT} deep at most", "G650")
        number = block.integer("P", 1, 99999, "program")
        program = options.library.get(number)
        if program is None:
            raise block.wrong("E-FLOW", f"there is no program O{number} to call", "P")
        repeats = block.integer("L", 1, float("inf"), "how often") if "L" in block.values else 1
        given: dict[int, float | None] = {
            ARGUMENT_PARAMETER[letter]: value
            for letter, value in block.values.items()
            if letter in ARGUMENT_PARAMETER
        }
        return Frame(program, 0, repeats - 1, given)

    def _return(self, frames: list[Frame]) -> None:
        """Leave a called program, or run it once more."""
        parameters = self.state.parameters
        frame = frames.pop()
        parameters.frames.pop()
        if frame.repeats_left:
            again = Frame(frame.program, 0, frame.repeats_left - 1, frame.given)
            parameters.frames.append(again.locals())
            frames.append(again)


def _touches_tables(writes: list[tuple[int, float | None]], block: Block) -> bool:
    if any(index in TABLES for index, _ in writes):
        return True
    return block.one_shot in TABLE_CODES or SYSTEM in block.g


def _in_program(error: ProgramError, program: Program, index: int) -> ProgramError:
    if error.line:
        return error
    return placed(error, program.file, program.line_number(index), program.texts[index])


def execute(
    program: Program,
    machine: Machine,
    options: Options | None = None,
    settings: LanguageSettings | None = None,
    state: State | None = None,
) -> Generator[Any, Any, Finished]:
    """Run ``program`` on ``machine`` once; keep an ``Interpreter`` to run several in a row."""
    return (yield from Interpreter(machine, settings, state).execute(program, options))


def execute_line(
    text: str,
    state: State,
    machine: Machine,
    settings: LanguageSettings | None = None,
    options: Options | None = None,
) -> Generator[Any, Any, None]:
    """Run one typed line on ``machine``, changing ``state``."""
    yield from Interpreter(machine, settings, state).execute_line(text, options)
