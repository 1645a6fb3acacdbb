"""Programs that a session offers, by name: a message never names a path."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from drytouch.sim.scenario import library

if TYPE_CHECKING:
    from drytouch.sim.scenario.exercise import Exercise
    from drytouch.sim.twin.twin import Twin


def offered(exercise: Exercise | None) -> dict[str, Path]:
    """The library's programs, and the exercise's own."""
    found = {name: library.path("program", name) for name in library.names("program")}
    if exercise is not None:
        found |= {entry.name: Path(entry.file) for entry in exercise.programs}
    return found


def refuse_unreadable(path: Path, twin: Twin) -> None:
    """Raise (InputError, ProgramErrors) unless a program can be read and run on this machine."""
    from drytouch.sim.controller.programs import load_program

    programs = twin.controller.programs
    load_program(path, programs.settings, programs.face.slots).check()
