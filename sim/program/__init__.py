"""RS274/NGC programs: read, checked and run on any machine that fits a narrow face.

``read_program`` gives a ``ProgramFile``; ``Interpreter`` or ``execute`` runs it on a ``Machine``,
of which ``IdealMachine`` is the one without flaws.
"""

from drytouch.sim.program.errors import CODES, ProgramError, ProgramErrors
from drytouch.sim.program.flow import Program, ProgramFile, read_program
from drytouch.sim.program.ideal import IdealMachine
from drytouch.sim.program.interpreter import (
    Finished,
    Interpreter,
    Options,
    execute,
    execute_line,
)
from drytouch.sim.program.line import Line, print_line
from drytouch.sim.program.machine import Machine
from drytouch.sim.program.reader import parse_line
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.state import State, start_state

__all__ = [
    "CODES",
    "Finished",
    "IdealMachine",
    "Interpreter",
    "LanguageSettings",
    "Line",
    "Machine",
    "Options",
    "Program",
    "ProgramError",
    "ProgramErrors",
    "ProgramFile",
    "State",
    "execute",
    "execute_line",
    "parse_line",
    "print_line",
    "read_program",
    "start_state",
]
