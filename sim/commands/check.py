"""``drytouch check``: a scenario, a part or a program, looked at and not run."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_BAD_INPUT
from drytouch.sim.commands.reading import reading_bar
from drytouch.sim.commands.results import as_json
from drytouch.sim.commands.scenarios import is_program, scenario_path
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import DrytouchError, InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.files import read_toml
from drytouch.sim.scenario.load import MODELS, load_part, load_scenario
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.scenario import Scenario

# A key (without its unit) that only one kind of part has -> that kind.
_MARKS = {
    "machine": "scenario",
    "axes": "machine",
    "spindle": "machine",
    "pad_diameter": "setter",
    "pre_travel": "setter",
    "stack": "tool",
    "inserts": "tool",
    "parts": "stock",
    "size": "block",
}
_DEEPEST = 10


def check(text: str, as_data: bool) -> int:
    """Check one file and report everything that is wrong; gives back the exit code."""
    try:
        kind, errors, warnings = _look(text)
    except DrytouchError as error:
        if not as_data:
            raise
        kind, errors, warnings = "unknown", [error], []
    if as_data:
        report = {
            "file": text,
            "kind": kind,
            "errors": [_as_data(error) for error in errors],
            "warnings": warnings,
        }
        sys.stdout.write(as_json(report))
    else:
        _say(text, kind, errors, warnings)
    return EXIT_BAD_INPUT if errors else EXIT_AS_EXPECTED


def _say(text: str, kind: str, errors: list[DrytouchError], warnings: list[str]) -> None:
    problems = screen(to_errors=True)
    for error in errors:
        problems.print(str(error), soft_wrap=True)
    console = screen()
    for warning in warnings:
        console.print(f"look again: {warning}", soft_wrap=True)
    if not errors:
        console.print(f"{text}: this {kind} can be used", soft_wrap=True)


def _look(text: str) -> tuple[str, list[DrytouchError], list[str]]:
    """Kind of the file, what is wrong with it, and what deserves a second look."""
    if is_program(text):
        return "program", *_check_program(Path(text))
    path = scenario_path(text)
    kind = _kind(path)
    if kind != "scenario":
        load_part(kind, path)
        return kind, [], []
    scenario = load_scenario(path)
    errors: list[DrytouchError] = []
    warnings: list[str] = []
    files = (getattr(step, "file", None) for step in scenario.steps if step.do == "program")
    for file in dict.fromkeys(str(file) for file in files):
        wrong, odd = _check_program(Path(file), scenario.machine)
        errors += wrong
        warnings += odd
    if scenario.exercise is not None:
        errors += _check_texts(scenario, path)
        return "exercise", errors, warnings
    return "scenario", errors, warnings


def _check_texts(scenario: Scenario, path: Path) -> list[DrytouchError]:
    """A figure in braces that there is none of; with its line, which only the file knows."""
    from drytouch.sim.bench.words import told

    try:
        told(scenario)
    except InputError as error:
        named = re.findall(r"\{[^{}]*\}", error.message)
        rows = enumerate(read_toml(path)[1].splitlines(), 1)
        line = next((number for number, row in rows if any(n in row for n in named)), 0)
        return [InputError(error.message, str(path), error.key, line, error.fix)]
    return []


def _kind(path: Path, depth: int = 0) -> str:
    """The kind of thing that a file describes, by its keys or by what it is made from."""
    data, _ = read_toml(path)
    keys = {key.rsplit("_", 1)[0] for key in data} | set(data)
    kind = next((kind for mark, kind in _MARKS.items() if mark in keys), "")
    used = data.get("use")
    if kind or not isinstance(used, str):
        return kind or "scenario"
    if "/" in used or "\\" in used or used.endswith(".toml"):
        # A circle of files ends here; loading it says so.
        return _kind(path.parent / used, depth + 1) if depth < _DEEPEST else "scenario"
    return next((kind for kind in MODELS if used in library.names(kind)), "scenario")


def _check_program(
    path: Path, machine: Machine | None = None
) -> tuple[list[DrytouchError], list[str]]:
    # The reader of programs brings in a grammar, which scenarios don't need.
    from drytouch.sim.controller.program_face import settings_of
    from drytouch.sim.controller.programs import load_program

    with reading_bar() as progress:
        if machine is None:
            checked = load_program(path, progress=progress).checked
        else:
            rows = machine.habits.rows
            checked = load_program(path, settings_of(machine), rows, progress).checked
    return list(checked.errors), [str(warning) for warning in checked.warnings]


def _as_data(error: DrytouchError) -> dict[str, Any]:
    if isinstance(error, InputError):
        return {
            "file": error.file,
            "line": error.line,
            "key": error.key,
            "message": error.message,
            "fix": error.fix,
        }
    return {
        "file": getattr(error, "file", ""),
        "line": getattr(error, "line", 0),
        "message": getattr(error, "message", str(error)),
        "code": getattr(error, "code", ""),
    }
