"""From what is typed on the command line to a scenario that was run."""

from __future__ import annotations

from pathlib import Path

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.files import read_text
from drytouch.sim.scenario.lines import key_lines
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

PROGRAM_ENDINGS = (".ngc", ".nc", ".tap", ".gcode")


def is_program(text: str) -> bool:
    """Whether a name on the command line is a program's file."""
    return text.lower().endswith(PROGRAM_ENDINGS)


def scenario_path(text: str) -> Path:
    """The file of a scenario that is named by path or by its name in the library.

    Raises:
        InputError: it is a folder, or the library has no such name.
    """
    path = Path(text)
    if path.is_file() or text.endswith(".toml") or "/" in text or "\\" in text:
        return path
    try:
        return library.path("scenario", text)
    except InputError:
        if path.is_dir():
            fix = "name a scenario's file, which ends in .toml"
            raise InputError("is a folder", text, fix=fix) from None
        raise


def ready(text: str) -> tuple[Scenario, Path]:
    """The scenario to run, and its file.

    Raises:
        InputError: no such file or name, or the file says something impossible.
    """
    if is_program(text):
        read_text(Path(text), "program")
        raise InputError(
            "a program runs as a step of a scenario, which says what machine it runs on",
            text,
            fix="name one with --on, such as --on length-done-right, or in a scenario add: "
            f'[[steps]] do = "program", file = "{Path(text).name}"',
        )
    path = scenario_path(text)
    return load_scenario(path), path


def perform(scenario: Scenario, path: Path, seed: int | None) -> Outcome:
    """Run a scenario's steps.

    Raises:
        InputError: a step can't be done in the state that the machine is in; names the step.
    """
    twin = Twin(scenario, seed)
    try:
        outcome = twin.run_steps()
    except StepError as error:
        step = twin.controller.source.step
        key = "" if step is None else f"steps#{step + 1}"
        line = 0 if step is None else _line_of(path, step)
        raise InputError(error.message, str(path), key, line, error.fix) from error
    if outcome.error:
        raise InputError(
            outcome.error, str(path), "meanwhile", fix="have it happen when it can be done"
        )
    return outcome


def _line_of(path: Path, step: int) -> int:
    return key_lines(read_text(path)).get(("steps", step), 0)
