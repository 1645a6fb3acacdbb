"""``drytouch run PROGRAM --on SCENARIO``: a program on the machine that a scenario sets up."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drytouch.sim.commands.pictures import Pictures
from drytouch.sim.commands.reading import reading_bar
from drytouch.sim.commands.report import report
from drytouch.sim.commands.results import files_for, keep, results_folder
from drytouch.sim.commands.scenarios import PROGRAM_ENDINGS, is_program, ready
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import unit_of
from drytouch.sim.controller.programs import load_program
from drytouch.sim.controller.table_files import save_with, start_with
from drytouch.sim.errors import InputError, StepError
from drytouch.sim.scenario import library
from drytouch.sim.twin.twin import Twin

if TYPE_CHECKING:
    from rich.console import Console

    from drytouch.sim.scenario.scenario import Scenario
    from drytouch.sim.twin.outcome import Outcome


@dataclass(frozen=True, slots=True)
class Switches:
    """How a program is run: the panel's switches, and what is shown and kept."""

    block_delete: bool = False
    optional_stop: bool = False
    single_block: bool = False
    from_line: int = 0
    follow: bool = False
    tables: Path | None = None

    @property
    def used(self) -> bool:
        """Whether any of them is set."""
        return self != Switches()


def run_program(
    file: str,
    on: str | None,
    switches: Switches,
    seed: int | None,
    out: Path,
    picture: bool,
    as_data: bool,
) -> int:
    """Check a program, run it where a scenario would run its own steps, report; the exit code.

    Raises:
        InputError: program, scenario or folder can't be used; nothing is written then.
        ProgramErrors: the program has errors; nothing has moved.
    """
    if not is_program(file):
        raise InputError(
            "these options are for programs, and this is none by its name",
            file,
            fix=f"name a file that ends in {', '.join(PROGRAM_ENDINGS)}, or leave them out",
        )
    if on is None:
        ready(file)  # says that there is no such file, or that a program needs a scenario
    given, path = ready(on or "")
    file = _program_path(file)
    scenario = _for_program(given, Path(file), switches)
    errors = screen(to_errors=True)
    twin = Twin(scenario, seed)
    with reading_bar() as progress:
        language = twin.controller.programs
        # Its errors are told before a folder is made.
        load_program(file, language.settings, language.face.slots, progress).check()
    told = screen(to_errors=as_data)
    language.face.listeners.append(lambda kind, text: told.print(f"{kind}: {text}", soft_wrap=True))
    if switches.follow:
        _follow(twin, told, scenario.display)
    busy = nullcontext() if switches.follow or not errors.is_terminal else errors.status("running")
    with results_folder(out), busy, Pictures(picture) as pictures:
        outcome = _perform(twin, file, switches, path)
        if switches.tables is not None:
            switches.tables.mkdir(parents=True, exist_ok=True)
            save_with(twin.controller, switches.tables)
        files = files_for(out, outcome.scenario)
        recording = keep(outcome, files)
        drawn = pictures.draw(recording, files.picture)
    written = [files.outcome, files.recording] + ([drawn] if drawn else [])
    return report(scenario, outcome, written, pictures.reason, as_data)


def _program_path(file: str) -> str:
    """The file, or the program of the library that has its name."""
    stem = Path(file).stem
    if not Path(file).exists() and file == f"{stem}.ngc" and stem in library.names("program"):
        return str(library.path("program", stem))
    return file


def _for_program(given: Scenario, file: Path, switches: Switches) -> Scenario:
    """The scenario's set-up without its own steps, story and promise."""
    changed: dict[str, Any] = {
        "name": f"{file.stem}-on-{given.name}",
        "title": f"{file.name} on: {given.title or given.name}",
        "kind": "scenario",  # a demonstration would count findings that nobody promised
        "story": "",
        "watch_for": "",
        "steps": (),
        "questions": (),
        "expect": None,
    }
    if switches.tables is not None:
        rows = given.machine.habits.rows
        changed["controller"] = start_with(
            given.controller, switches.tables, rows, list(given.setter)
        )
    return given.model_copy(update=changed)


def _perform(twin: Twin, file: str, switches: Switches, path: Path) -> Outcome:
    try:
        return twin.run_program(
            file,
            block_delete=switches.block_delete,
            optional_stop=switches.optional_stop,
            single_block=switches.single_block,
            start_line=switches.from_line,
        )
    except StepError as error:
        line = twin.controller.source.program_line or 0
        raise InputError(error.message, file, line=line, fix=error.fix) from error


def _follow(twin: Twin, console: Console, display: str) -> None:
    """Print each line before it runs, with the machine position that it starts from."""
    _, scale, digits = unit_of(display)

    def watch(file: str, line: int, text: str) -> None:
        spot = " ".join(
            f"{axis}{value / scale:.{digits - 1}f}"
            for axis, value in zip("XYZ", twin.controller.position, strict=True)
        )
        console.print(f"{file}:{line}  {spot}  {text.strip()}", soft_wrap=True)

    twin.controller.programs.watchers.append(watch)
