"""``drytouch gallery``: a folder to teach from, made by several processes at once."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.expectation import compare
from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS, EXIT_INTERRUPTED
from drytouch.sim.commands.pictures import Pictures
from drytouch.sim.commands.results import files_for, results_folder
from drytouch.sim.commands.scenarios import perform, ready
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import DrytouchError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library

if TYPE_CHECKING:
    from drytouch.viz.gallery import Shown

MOST_AT_ONCE = 8
"""Each process draws with software OpenGL, which wants half a gigabyte and threads of its own."""


class Made(NamedTuple):
    """What one worker came to: an entry, or what was wrong; and why there is no picture."""

    name: str
    entry: Shown | None
    problem: str = ""
    no_picture: str = ""


def gallery(out: Path, wanted: Sequence[str], processes: int) -> int:
    """Make the gallery; gives back the exit code.

    ``wanted``: scenarios by file or name, none for every demonstration. ``processes``: at once, 0
    for as many as there are cores.

    Raises:
        InputError: a scenario can't be used or the folder not be written to; nothing is made then.
    """
    texts = list(wanted) or list(library.names("demonstration"))
    for text in texts:
        ready(text)  # before any work: a misspelt name is told at once
    jobs = list(zip(texts, _file_names(texts), strict=True))
    count = min(processes or os.cpu_count() or 1, len(jobs), MOST_AT_ONCE)
    made: dict[str, Made] = {}
    stopped = False
    with results_folder(out), _progress() as progress:
        task = progress.add_task("gallery", total=len(jobs))
        pool = ProcessPoolExecutor(count, get_context("spawn"), _quiet)
        futures: list[Future[Made]] = []
        try:
            futures = [pool.submit(make, text, name, str(out)) for text, name in jobs]
            for future in as_completed(futures):
                one: Made = future.result()
                made[one.name] = one
                progress.update(task, advance=1, description=one.name)
        except KeyboardInterrupt:  # what is done stays, and gets its index
            stopped = True
            _give_up(futures)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        results = [made[name] for _, name in jobs if name in made]
        return _finish(out, results, len(jobs), stopped)


def _finish(out: Path, results: list[Made], wanted: int, stopped: bool) -> int:
    from drytouch.viz.gallery import write_index

    entries = [one.entry for one in results if one.entry is not None]
    note = f"Stopped early: {len(entries)} of {wanted} are here." if stopped else ""
    problems = screen(to_errors=True)
    if entries:
        index = write_index(out, entries, note)
        console = screen()
        console.print(f"{len(entries)} of {wanted} in the gallery", soft_wrap=True)
        console.print(f"open in a browser: {index}", soft_wrap=True)
        console.print(f"Caution: {CAUTION}", style="italic")
    for one in results:
        if one.problem:
            problems.print(f"{one.name}: {one.problem}", soft_wrap=True)
    differ = [entry for entry in entries if entry.differs]
    for entry in differ:
        problems.print(
            f"{entry.name} differs from what it promises: {entry.differs}", soft_wrap=True
        )
    reasons = {one.no_picture for one in results if one.no_picture}
    for reason in sorted(reasons):
        problems.print(f"no picture: {reason}", soft_wrap=True)
    if stopped:
        return EXIT_INTERRUPTED
    return EXIT_AS_EXPECTED if len(entries) == wanted and not differ else EXIT_DIFFERS


def _progress() -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=screen(to_errors=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def _give_up(futures: Sequence[Future[Made]]) -> None:
    for future in futures:
        future.cancel()


def _quiet() -> None:
    # Ctrl-C reaches every process of a terminal; only the first one is to act on it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _file_names(texts: Sequence[str]) -> list[str]:
    """A name for each scenario's files, none twice and none that the index has."""
    found: list[str] = []
    for text in texts:
        stem = files_for(Path(), Path(text).stem).picture.stem
        name, number = stem, 2
        while name in found or name == "index":
            name, number = f"{stem}-{number}", number + 1
        found.append(name)
    return found


_pictures: Pictures | None = None


def make(text: str, name: str, folder: str) -> Made:
    """Run one scenario and write its files, in a process that goes on to the next one."""
    global _pictures
    from drytouch.viz.gallery import write_entry

    if _pictures is None:
        _pictures = Pictures(True)  # one plotter for all that this process draws
    try:
        scenario, path = ready(text)
        outcome = perform(scenario, path, None)
        recording = Recording.from_outcome(outcome)
        picture = Path(folder) / f"{name}.png"
        drawn = _pictures.draw(recording, picture)
        differs = "" if scenario.expect is None else compare(scenario, outcome).sentence()
        shown = picture.name if drawn is not None else ""
        entry = write_entry(recording, scenario, Path(folder), name, shown, differs)
    except DrytouchError as error:
        return Made(name, None, str(error))
    return Made(name, entry, no_picture=_pictures.reason)
