"""Check a whole program without a machine: all errors, and what a careful reader would mark.

Every way through the program is followed once with what is certain on it (``Known``); where ways
meet, what they disagree on becomes unknown and is let pass. Then the program runs once on the ideal
machine, which finds what only numbers tell: arcs that don't fit, calculations that fail.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drytouch.sim.program.dry_run import dry_run
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.findings import WARNINGS, Findings, Warned
from drytouch.sim.program.flow import Program, ProgramFile, read_program
from drytouch.sim.program.follow import find_cases, follow
from drytouch.sim.program.known import CALLED, Known
from drytouch.sim.program.line import Line, Number
from drytouch.sim.program.settings import LanguageSettings

__all__ = ["WARNINGS", "Checked", "Warned", "check_program"]


@dataclass(frozen=True, slots=True)
class Checked:
    """All that a check found, in the order of lines."""

    errors: tuple[ProgramError, ...]
    warnings: tuple[Warned, ...]
    lines: int


def check_program(
    source: str | ProgramFile,
    file: str = "program",
    settings: LanguageSettings | None = None,
    library: dict[int, Program] | None = None,
    slots: int = 99,
    progress: Callable[[int, int], None] | None = None,
) -> Checked:
    """Check all programs of a text or of a file that was read.

    ``library`` has the programs of other files that may be called. ``progress(lines, of)`` is
    called while the text is read. Never raises for what the program holds.
    """
    read = source if isinstance(source, ProgramFile) else read_program(source, file, progress)
    settings = settings or LanguageSettings()
    callable_programs = {**(library or {}), **read.library}
    errors = {(e.line, e.code, e.column): e for e in read.errors}
    warnings: dict[tuple[int, str, str], Warned] = {}
    for program in read.programs:
        check = Findings(program, callable_programs, settings, slots)
        follow(check, CALLED if _is_called(program) else Known())
        find_cases(check)
        errors |= check.errors
        warnings |= check.warnings
    if not errors and not _is_called(read.programs[0]):
        dry_run(read, callable_programs, settings, slots, errors, warnings)
    return Checked(
        tuple(errors[key] for key in sorted(errors)),
        tuple(warnings[key] for key in sorted(warnings)),
        sum(len(program.entries) for program in read.programs),
    )


def _is_called(program: Program) -> bool:
    return any(
        word.letter == "M" and isinstance(word.value, Number) and word.value.value == 99
        for entry in program.entries
        if isinstance(entry, Line)
        for word in entry.words
    )
