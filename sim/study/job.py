"""What is put to the test: a built-in routine, a function of a Python file, a program, or steps."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Generator, Mapping
from functools import lru_cache
from inspect import isfunction, signature
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from drytouch.sim.errors import ControllerAlarm, InputError, StepError
from drytouch.sim.recording import Source
from drytouch.sim.routines.registry import ROUTINES, Routine, routine_by_name
from drytouch.sim.scenario.files import read_text
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import Program
from drytouch.sim.steps.runner import do_step, run_steps
from drytouch.sim.study.located import Located
from drytouch.sim.twin.twin import Twin

if TYPE_CHECKING:
    from drytouch.sim.twin.outcome import Outcome

PROGRAM_ENDINGS = (".ngc", ".nc", ".tap", ".gcode")
OWN_STEPS = "steps"


class Job(NamedTuple):
    """One thing to run, in words that another process understands as well.

    ``name`` is a routine's name, ``file.py:function``, a program's path, or ``steps``. As many
    of the scenario's own steps as ``prepared_by`` says are done first. ``programs`` are the files
    that may run.
    """

    kind: Literal["routine", "function", "program", "steps"]
    name: str
    arguments: tuple[tuple[str, Any], ...] = ()
    prepared_by: int = 0
    programs: tuple[str, ...] = ()


class Ran(NamedTuple):
    """A run that has ended, one way or another.

    ``outcome.error`` tells what went wrong beside the steps; ``broke_off`` is an exception of the
    routine's own, in words; ``endless`` says that it would never have ended, ``error`` is the
    exception itself.
    """

    outcome: Outcome
    broke_off: str = ""
    endless: bool = False
    error: Exception | None = None


def job_named(
    text: str,
    scenario: Scenario,
    arguments: Mapping[str, Any] | None = None,
    after_step: int | None = None,
) -> Job:
    """The job that is meant by what was typed.

    Where the scenario's own steps run the same built-in routine, the steps before that prepare for
    it and are done first, and it takes that step's arguments when none are given. ``after_step``
    says instead how many of the steps are done first.

    Raises:
        InputError: there is no such routine, file or function, or it can't take the arguments.
    """
    if after_step is not None and not 0 <= after_step <= len(scenario.steps):
        raise InputError(
            f"there is no step {after_step}", fix=f"the scenario has {len(scenario.steps)} steps"
        )
    job = _named(text, scenario, dict(arguments or {}))
    return job if after_step is None else job._replace(prepared_by=after_step)


def _named(text: str, scenario: Scenario, given: dict[str, Any]) -> Job:
    if text == OWN_STEPS:
        if not scenario.steps:
            raise InputError("the scenario has no steps", fix="name a routine to run on it")
        files = [step.file for step in scenario.steps if step.do == "program"]
        return Job("steps", text, programs=tuple(dict.fromkeys(files)))
    if text.lower().endswith(PROGRAM_ENDINGS):
        read_text(Path(text), "program")
        if given:
            raise InputError(
                "a program takes no arguments", text, fix="set its parameters in the scenario"
            )
        path = str(Path(text).resolve())
        return Job("program", path, programs=(path,))
    if ".py:" in text:
        file, _, name = text.rpartition(":")
        function = _function(str(Path(file).resolve()), name)
        return Job("function", f"{function.__code__.co_filename}:{name}", _pairs(given))
    if text.endswith(".py"):
        raise InputError("which function of it?", text, fix=f"name it: {text}:measure")
    try:
        routine = routine_by_name(text)
        before, found = _in_steps(routine, scenario)
        given = given or found
        routine.check(given)
    except StepError as error:
        raise InputError(error.message, fix=error.fix) from None
    return Job("routine", routine.name, _pairs(given), before)


def job_beside(text: str, scenario: Scenario, first: Job) -> Job:
    """A second job to be compared with the first: it gets those arguments that it takes.

    Raises:
        InputError: as ``job_named``.
    """
    arguments = dict(first.arguments)
    if ".py:" in text:
        file, _, name = text.rpartition(":")
        known = signature(_function(str(Path(file).resolve()), name)).parameters
        arguments = {key: value for key, value in arguments.items() if key in known}
    elif text.replace("_", "-") in ROUTINES:
        known_names = {argument.name for argument in routine_by_name(text).arguments}
        arguments = {key: value for key, value in arguments.items() if key in known_names}
    else:
        arguments = {}
    return _named(text, scenario, arguments)._replace(prepared_by=first.prepared_by)


def _pairs(given: Mapping[str, Any]) -> tuple[tuple[str, Any], ...]:
    return tuple(sorted(given.items()))


def _in_steps(routine: Routine, scenario: Scenario) -> tuple[int, dict[str, Any]]:
    """How many steps stand before the one that runs the routine, and its arguments there."""
    for index, step in enumerate(scenario.steps):
        if step.do == "routine" and step.name.replace("_", "-") == routine.name:
            return index, dict(step.arguments)
    return 0, {}


def twin_for(scenario: Scenario, seed: int | None = None) -> Twin:
    """A twin beside whose calls everything happens that the scenario wants to happen."""
    twin = Twin(scenario, seed)
    twin.watch()
    return twin


def run_job(job: Job, scenario: Scenario, seed: int | None = None) -> Ran:
    """Run a job on a fresh twin.

    Raises:
        InputError: the file or function can't be used.
    """
    twin = twin_for(scenario, seed)
    if job.kind == "steps":
        return finish(twin, run_steps(twin), Source())
    arguments = dict(job.arguments)
    if job.kind == "routine":
        function: Callable[..., Any] = ROUTINES[job.name].function
        return call(twin, function, job.prepared_by, **arguments)
    if job.kind == "program":
        # Imported here: programs bring in a grammar, which routines don't need.
        from drytouch.sim.steps.programs import run_file

        source, step = Source(file=job.name), Program(do="program", file=job.name)
        return finish(
            twin, _prepared(twin, job.prepared_by, source, lambda: run_file(twin, step)), source
        )
    file, _, name = job.name.rpartition(":")
    return call(twin, _function(file, name), job.prepared_by, **arguments)


def call(
    twin: Twin, function: Callable[..., Any], prepared_by: int = 0, /, **arguments: Any
) -> Ran:
    """Run a routine's function on a twin, whatever way it ends, after so many of its steps."""
    name = getattr(function, "__name__", "routine").replace("_", "-")
    controller: Any = twin.controller
    if name not in ROUTINES:
        code = getattr(function, "__code__", None)
        if code is not None:
            controller = Located(twin.controller, code.co_filename, name)
    source = Source(call=name)
    calls = _prepared(twin, prepared_by, source, lambda: function(controller, **arguments))
    return finish(twin, calls, source)


def _prepared(twin: Twin, steps: int, source: Source, make: Callable[[], Any]) -> Any:
    """Some of the scenario's steps, then the calls that ``make`` gives."""
    for index, step in enumerate(twin.scenario.steps[:steps]):
        twin.controller.source = Source(step=index, call=step.do)
        yield from do_step(twin, step)
    twin.controller.source = source
    made = make()
    return (yield from made) if isinstance(made, Generator) else made


def finish(twin: Twin, calls: Any, source: Source) -> Ran:
    """Drive calls to their end, whatever way that is."""
    twin.controller.source = source
    try:
        result, error = twin.drive(calls)
    except StepError as endless:
        return Ran(twin.outcome(), endless.message, True)
    outcome = twin.outcome(result)
    if error is None or isinstance(error, ControllerAlarm):
        return Ran(outcome)
    return Ran(outcome, _in_words(error), error=error)


def whole_path(file: str, job: Job) -> Path:
    """The path of a file that a finding names; programs are named without their folder."""
    path = Path(file)
    if path.is_absolute():
        return path
    # A program may call others that stand beside it.
    beside = [Path(program).parent / path for program in job.programs]
    return next((found for found in beside if found.is_file()), path)


def _in_words(error: Exception) -> str:
    if isinstance(error, StepError):
        return error.message
    return f"{type(error).__name__}: {error}"


def _function(file: str, name: str) -> Any:
    module = _module(file)
    function = getattr(module, name, None)
    if not isfunction(function):
        own = [
            key
            for key, value in vars(module).items()
            if isfunction(value) and value.__module__ == module.__name__
        ]
        raise InputError(
            f"there is no function '{name}' in it",
            file,
            fix=f"it holds: {', '.join(own) or 'no function'}",
        )
    return function


@lru_cache(maxsize=16)
def _module(file: str) -> ModuleType:
    """A Python file as a module of its own. It is code, and is run: only a person names it."""
    path = Path(file)
    text = read_text(path, "Python file")
    name = f"drytouch_routine_{abs(hash(file)):x}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # What stands beside the file can be imported from it, as when Python runs the file itself.
    folder = str(path.parent)
    sys.path.insert(0, folder)
    sys.modules[name] = module
    try:
        compile(text, file, "exec")
        spec.loader.exec_module(module)
    except SyntaxError as error:
        raise InputError(f"not Python: {error.msg}", file, line=error.lineno or 0) from None
    except Exception as error:
        raise InputError(
            f"it fails when it is loaded: {type(error).__name__}: {error}", file
        ) from error
    finally:
        sys.path.remove(folder)
    return module
