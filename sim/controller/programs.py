"""Programs and typed lines on a controller: one interpreter that lives as long as it does."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drytouch.sim.controller.program_face import ProgramFace, settings_of
from drytouch.sim.program import (
    Finished,
    Interpreter,
    LanguageSettings,
    Options,
    Program,
    ProgramError,
    ProgramErrors,
    ProgramFile,
    State,
    read_program,
    start_state,
)
from drytouch.sim.program.check import Checked, check_program
from drytouch.sim.program.modal import DISTANCE, LENGTH, SYSTEM, SYSTEM_CODE, UNITS, Modal
from drytouch.sim.program.parameters import ACTIVE_SYSTEM, SHIFT, Parameters
from drytouch.sim.program.state import scaled
from drytouch.sim.scenario.controller import SYSTEM_NAMES
from drytouch.sim.scenario.files import read_text

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.controller.tables import Tables
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.truth.judge import Judge
    from drytouch.sim.twin.kernel import Kernel

Calls = Generator[Any, Any, Any]
Progress = Callable[[int, int], None]
Watcher = Callable[[str, int, str], None]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A program file that was read and checked, with what it may call."""

    read: ProgramFile
    library: dict[int, Program]
    checked: Checked

    def check(self) -> Program:
        """The program to run.

        Raises:
            ProgramErrors: something in the file is wrong.
        """
        if self.checked.errors:
            raise ProgramErrors(self.checked.errors)
        return self.read.main


def load_program(
    file: str | Path,
    settings: LanguageSettings | None = None,
    slots: int = 99,
    progress: Progress | None = None,
) -> Loaded:
    """Read and check a program file whole.

    Programs that it calls may stand in the same file, or one each in ``o<number>.ngc`` beside it.
    ``progress(lines, of)`` is called while it is read.

    Raises:
        InputError: the file can't be read. What is wrong with its text is in the result.
    """
    path = Path(file)
    text = read_text(path, "program")
    if progress is not None:
        return _loaded(path, text, settings or LanguageSettings(), slots, progress)
    return _remembered(path, text, settings or LanguageSettings(), slots)


@lru_cache(maxsize=64)
def _remembered(path: Path, text: str, settings: LanguageSettings, slots: int) -> Loaded:
    # A program that was read is never changed: trials of one program read it once.
    return _loaded(path, text, settings, slots, None)


def _loaded(
    path: Path, text: str, settings: LanguageSettings, slots: int, progress: Progress | None
) -> Loaded:
    name = str(path)
    read = read_program(text, name, progress)
    library = {**_beside(path), **read.library}
    return Loaded(read, library, check_program(read, name, settings, library, slots))


def _beside(path: Path) -> dict[int, Program]:
    """Programs of the same folder that are named by their number."""
    found: dict[int, Program] = {}
    for file in sorted(path.parent.glob("[oO]*.ngc")):
        if file.stem[1:].isdigit() and file.resolve() != path.resolve():
            read = read_program(read_text(file, "program"), str(file))
            if not read.errors:
                found |= read.library
    return found


class Programs:
    """The language side of a controller. ``watchers`` are told each line before it runs.

    ``options`` are those of the program that runs: its switches may be set while it does.
    """

    def __init__(
        self, controller: Controller, machine: Machine, kernel: Kernel, judge: Judge
    ) -> None:
        self._controller = controller
        self._recorder = kernel.recorder
        self.face = ProgramFace(controller, machine, kernel, judge)
        self.settings = settings_of(machine)
        self.interpreter = Interpreter(
            self.face, self.settings, _state(self.face, controller.tables)
        )
        self.watchers: list[Watcher] = []
        self.options = Options()

    def run_file(
        self, file: str | Path, options: Options | None = None, progress: Progress | None = None
    ) -> Calls:
        """Check a program whole, then run it; returns ``Finished``.

        Raises:
            InputError: the file can't be read.
            ProgramErrors: something is wrong with its text; nothing has moved.
            ControllerAlarm: it was stopped. A program that can't go on is an alarm as well.
        """
        loaded = load_program(file, self.settings, self.face.slots, progress)
        options = replace(options or Options(), library=loaded.library, on_line=self._watch)
        self.options = options
        main, before = loaded.check(), self._controller.source
        self._adopt()
        try:
            finished: Finished = yield from self.interpreter.execute(main, options)
        except ProgramError as error:
            self._stopped(error)
        finally:
            self._controller.source = before
        return finished

    def run_line(self, text: str) -> Calls:
        """Run one typed line.

        Raises:
            ProgramError: the line can't be run; what it had not yet done stays undone.
            ControllerAlarm: it was stopped.
        """
        before = self._controller.source
        self._adopt()
        self._watch("typed", 1, text)
        try:
            yield from self.interpreter.execute_line(text, Options(on_line=self._watch))
        finally:
            self._controller.source = before

    def _adopt(self) -> None:
        """Take over what a person selected at the keys since the last line ran."""
        state, tables = self.interpreter.state, self._controller.tables
        system = SYSTEM_NAMES.index(tables.system) + 1
        if system != state.system:
            state.modal = state.modal.with_g(SYSTEM, SYSTEM_CODE[system])
            state.parameters.write(ACTIVE_SYSTEM, float(system))
            state.origin_mm = tables.systems[tables.system]
        if tables.shift != state.shift_mm:
            state.shift_mm = tables.shift
            state.parameters.write_vector(SHIFT, scaled(tables.shift, 1 / state.modal.unit_mm))
        if tables.length_row != state.tool_row:
            state.tool_row, state.tool_length_mm = _length(self.face, tables.length_row)
            state.modal = state.modal.with_g(LENGTH, 430 if state.tool_row else 490)
        rpm = self._controller.spindle_rpm
        if rpm == 0.0 and state.modal.spindle in (3, 4):
            state.modal = replace(state.modal, spindle=5)
        elif rpm != 0.0:
            state.modal = replace(state.modal, spindle=3 if rpm > 0.0 else 4)
            state.speed_rpm = abs(rpm)

    def _watch(self, file: str, line: int, text: str) -> None:
        controller, name = self._controller, Path(file).name
        controller.source = controller.source._replace(file=name, program_line=line)
        self._recorder.event(controller.time, "program-line", [name, line, text])
        for watcher in self.watchers:
            watcher(name, line, text)

    def _stopped(self, error: ProgramError) -> None:
        # The name alone: where a checkout lies is nobody's business in a recording.
        name = Path(error.file).name
        place = (("file", name), ("line", error.line), ("column", error.column))
        head = f"{name}:{error.line}:{error.column}: {error.code} {error.message}"
        self._controller.alarm("program", head, place)


def _state(face: ProgramFace, tables: Tables) -> State:
    """What a controller that was just switched on has in force, from its tables."""
    modal = Modal()
    modal = modal.with_g(UNITS, 200 if tables.units == "inch" else 210)
    modal = modal.with_g(DISTANCE, 910 if tables.incremental else 900)
    row, shift, system = tables.length_row, tables.shift, SYSTEM_NAMES.index(tables.system)
    if row:
        modal = modal.with_g(LENGTH, 430)
    parameters = Parameters(tables.parameters)
    parameters.write(ACTIVE_SYSTEM, system + 1.0)
    parameters.write_vector(SHIFT, scaled(shift, 1 / modal.unit_mm))
    return start_state(face, parameters, modal, _length(face, row))


def _length(face: ProgramFace, row: int) -> tuple[int, float]:
    """A row, and the tool length (mm) that it puts in force; row 0 puts none."""
    stored = face.tool_row(row) if row else None
    return row, stored.geometry_mm + stored.wear_mm if stored else 0.0
