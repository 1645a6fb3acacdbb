"""From what is typed on the command line to a scenario that was run."""

from __future__ import annotations

from pathlib import Path

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.files import read_text
from drytouch.sim.scenario.lines import key_lines
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import Program
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

PROGRAM_ENDINGS = (".ngc", ".nc", ".tap", ".gcode")


def is_program(text: str) -> bool:
    """Whether a name on the command line is a program's file."""
    return text.lower().endswith(PROGRAM_ENDINGS)


def scenario_path(text: str) -> Path:
    """The file of a scenario that is named by path or by its name in the library.

    Raises:
        InputError: the library has no such name.
    """
    path = Path(text)
    if path.exists() or text.endswith(".toml") or "/" in text or "\\" in text:
        return path
    return library.path("scenario", text)


def with_program(scenario: Scenario, file: str) -> Scenario:
    """The scenario with one step: run this program. What it expects of its own steps is dropped.

    Raises:
        InputError: there is no such file.
    """
    path = Path(file)
    read_text(path, "program")
    step = Program(do="program", file=str(path.resolve()))
    return scenario.model_copy(
        update={"name": path.stem, "steps": (step,), "expect": None, "kind": "scenario"}
    )


def ready(text: str, on: str) -> tuple[Scenario, Path]:
    """The scenario to run, and the file to name in messages.

    Raises:
        InputError: no such file or name, or the file says something impossible.
    """
    if not is_program(text):
        if on:
            raise InputError(
                "--on goes with a program", text, fix="leave --on out, or name a program file"
            )
        path = scenario_path(text)
        return load_scenario(path), path
    read_text(Path(text), "program")
    if not on:
        raise InputError(
            "a program needs a machine to run on",
            text,
            fix=f"name a scenario: drytouch run {text} --on SCENARIO (see drytouch list)",
        )
    return with_program(load_scenario(scenario_path(on)), text), Path(text)


def perform(scenario: Scenario, path: Path, seed: int | None) -> Outcome:
    """Run a scenario's steps.

    Raises:
        InputError: a step can't be done in the state that the machine is in; names the step.
    """
    twin = Twin(scenario, seed)
    try:
        return twin.run_steps()
    except StepError as error:
        step = twin.controller.source.step
        if step is None:
            raise InputError(error.message, str(path), fix=error.fix) from error
        line = 0 if is_program(str(path)) else _line_of(path, step)
        raise InputError(error.message, str(path), f"steps#{step}", line, error.fix) from error


def _line_of(path: Path, step: int) -> int:
    return key_lines(read_text(path)).get(("steps", step - 1), 0)
