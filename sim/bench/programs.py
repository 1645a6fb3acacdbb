"""Programs that a session offers, by name: a message never names a path."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drytouch.sim.scenario import library

if TYPE_CHECKING:
    from drytouch.sim.scenario.exercise import Exercise
    from drytouch.sim.twin.twin import Twin


def offered(exercise: Exercise | None) -> dict[str, Path]:
    """The exercise's own programs; the library's where it has none."""
    if exercise is not None and exercise.programs:
        return {entry.name: Path(entry.file) for entry in exercise.programs}
    return {name: library.path("program", name) for name in library.names("program")}


def file_names(exercise: Exercise | None) -> dict[str, str]:
    """Names of files that would give an exercise away -> what they are called there."""
    own = exercise.programs if exercise is not None else ()
    return {Path(entry.file).name: f"{entry.name}.ngc" for entry in own}


def renamed(value: Any, names: Mapping[str, str]) -> Any:
    """Plain data with each file of ``names`` called by its other name, wherever it stands."""
    if isinstance(value, str):
        for name, other in names.items():
            value = value.replace(name, other)
        return value
    if isinstance(value, dict):
        return {key: renamed(item, names) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [renamed(item, names) for item in value]
    return value


def refuse_unreadable(path: Path, twin: Twin) -> None:
    """Raise (InputError, ProgramErrors) unless a program can be read and run on this machine."""
    from drytouch.sim.controller.programs import load_program

    programs = twin.controller.programs
    load_program(path, programs.settings, programs.face.slots).check()
