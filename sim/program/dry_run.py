"""A run on the ideal machine: it finds what only numbers tell."""

from __future__ import annotations

from collections.abc import Callable

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.findings import WARNINGS, Warned
from drytouch.sim.program.flow import Program, ProgramFile
from drytouch.sim.program.ideal import IdealMachine
from drytouch.sim.program.interpreter import Interpreter, Options
from drytouch.sim.program.machine import SetterRecord, ToolRow, TouchConditions
from drytouch.sim.program.settings import LanguageSettings

# A dry run shows one way through the program; a circle in it is cut after so many lines without
# time, or so many in all (more if the program itself is longer).
DRY_IDLE_LINES = 20_000
DRY_LINES = 50_000


def dry_run(
    read: ProgramFile,
    library: dict[int, Program],
    settings: LanguageSettings,
    slots: int,
    errors: dict[tuple[int, str, int], ProgramError],
    warnings: dict[tuple[int, str, str], Warned],
) -> None:
    """Run the first program; what it meets is an error unless the stand-in made up a value."""
    program = read.programs[0]
    machine = _stand_in(slots)
    interpreter = Interpreter(machine, settings)
    options = Options(library=library, lines_without_time_limit=DRY_IDLE_LINES)
    options.on_line = _counter(max(DRY_LINES, 2 * len(program.entries)))
    try:
        for _ in interpreter.execute(program, options):
            pass
    except _EnoughError as enough:
        line, text = enough.args
        more = f" after {DRY_LINES} lines or more, still running"
        warnings.setdefault(
            (line, "dry-run", ""),
            Warned("dry-run", WARNINGS["dry-run"] + more, program.file, line, text),
        )
    except ProgramError as error:
        made_up = interpreter.state.touch is not None or interpreter.reading.used_machine
        if made_up or error.code == "E-FLOW":
            more = f": {error.code} {error.message}"
            warnings.setdefault(
                (error.line, "dry-run", ""),
                Warned("dry-run", WARNINGS["dry-run"] + more, error.file, error.line, error.text),
            )
        else:
            errors[(error.line, error.code, error.column)] = error
    except ControllerAlarm:
        # The program's own alarm on a machine that it was not written for says nothing.
        pass


class _EnoughError(Exception):
    """The dry run is cut here; arguments: line, text."""


def _counter(limit: int) -> Callable[[str, int, str], None]:
    """Return a hook that cuts a run after ``limit`` lines."""
    count = 0

    def on_line(file: str, line: int, text: str) -> None:
        nonlocal count
        count += 1
        if count > limit:
            raise _EnoughError(line, text)

    return on_line


def _stand_in(slots: int) -> IdealMachine:
    """An ideal machine with something in every table, on which every touch meets something."""
    rows = {row: ToolRow(100.0, 0.0) for row in range(1, slots + 1)}
    setter = SetterRecord(
        -300.0, 0.0, 0.0, 0.0, 50.0, 100.0, True, 1, True, 200.0, 25.0, 2.0, 20.0, 0.003, 0.0
    )  # fmt: skip
    start = (0.0, 0.0, 0.0)
    limits = ((-500.0, -500.0, -500.0), (500.0, 500.0, 500.0))
    return IdealMachine(
        start, limits=limits, tool_rows=rows, setter=setter, slots=slots, touch_anywhere=True,
        logging=False, conditions=TouchConditions(turning_allowed=True),
    )  # fmt: skip
