"""``drytouch replay``: a recording in a window, or as a picture, movie, page or 3D model."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario


class Wanted(NamedTuple):
    """What the command line asks for; ``None`` or empty where it doesn't."""

    still: Path | None = None
    movie: Path | None = None
    page: Path | None = None
    model: Path | None = None
    at: str | None = None
    beside: Path | None = None
    line_up: str = ""
    questions: bool = False
    scenario: str | None = None


def replay(path: Path, wanted: Wanted) -> int:
    """Replay one recording, or two; gives back the exit code.

    Raises:
        InputError: a file is damaged, can't be written, or options don't go together.
        NoPicture: this machine can't draw or open a window; says what to do.
    """
    recording = Recording.load(path)
    other = Recording.load(wanted.beside) if wanted.beside is not None else None
    _check(wanted)
    scenario = _scenario_of(recording, wanted.scenario)
    written: list[Path] = []
    if wanted.still is not None:
        written.append(_still(recording, wanted.still, wanted.at))
    if wanted.model is not None:
        from drytouch.viz.model import write_model

        written.append(write_model(recording, wanted.model))
    if wanted.page is not None:
        written.append(_page(recording, other, scenario, wanted))
    if wanted.movie is not None:
        written += _movie(recording, other, scenario, wanted)
    if not written:
        _window(recording, wanted.at)
        return EXIT_AS_EXPECTED
    console = screen()
    for file in written:
        console.print(f"written: {file}", soft_wrap=True)
    console.print(f"Caution: {CAUTION}", style="italic")
    return EXIT_AS_EXPECTED


def _check(wanted: Wanted) -> None:
    if wanted.beside is not None and not (wanted.movie or wanted.page):
        raise InputError(
            "two recordings beside each other make a movie or a page",
            key="--beside",
            fix="add --movie FILE.mp4 or --page FILE.html",
        )
    if wanted.line_up and wanted.beside is None:
        raise InputError(
            "nothing to line up with",
            key="--line-up",
            fix="add --beside RECORDING, or leave it out",
        )
    if wanted.at is not None and (wanted.movie or wanted.page or wanted.model) and not wanted.still:
        raise InputError(
            "only a still or the window begin at a time", key="--at", fix="leave --at out"
        )


def _scenario_of(recording: Recording, named: str | None) -> Scenario | None:
    """The scenario that was run: the one named, or the library's of the recording's name."""
    if named is not None:
        from drytouch.sim.commands.scenarios import ready

        return ready(named)[0]
    name = str(recording.scenario.get("name") or "")
    if name in library.names("scenario"):
        scenario = load_scenario(library.path("scenario", name))
        # A scenario of the user's may have the same name as one of the library's.
        return scenario if scenario.title == recording.scenario.get("title") else None
    return None


def _still(recording: Recording, path: Path, at: str | None) -> Path:
    from drytouch.viz.still import draw_still
    from drytouch.viz.times import time_of

    return draw_still(recording, path, None if at is None else time_of(recording, at))


def _page(
    recording: Recording, other: Recording | None, scenario: Scenario | None, wanted: Wanted
) -> Path:
    from drytouch.viz.page import build_page

    assert wanted.page is not None
    return build_page(
        recording,
        wanted.page,
        None,
        other,
        scenario=scenario,
        beside_scenario=None if other is None else _scenario_of(other, None),
        line_up=wanted.line_up,
    )


def _movie(
    recording: Recording, other: Recording | None, scenario: Scenario | None, wanted: Wanted
) -> list[Path]:
    from drytouch.viz.stops import asked_in

    assert wanted.movie is not None
    questions = asked_in(recording, scenario) if wanted.questions else ()
    if wanted.questions and not questions:
        raise InputError(
            "there are no questions for this recording",
            key="--questions",
            fix="add some to the scenario and run it again, or leave --questions out",
        )
    with _progress("movie") as tell:
        if other is not None:
            from drytouch.viz.beside import make_movie_beside

            made = make_movie_beside((recording, other), wanted.movie, wanted.line_up, tell)
        else:
            from drytouch.viz.movie import make_movie

            made = make_movie(recording, wanted.movie, questions, tell)
    return [made.movie, made.captions]


@contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None]]:
    columns = TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn()
    console = screen(to_errors=True)
    with Progress(
        *columns, console=console, transient=True, disable=not sys.stderr.isatty()
    ) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _window(recording: Recording, at: str | None) -> None:
    from drytouch.viz.times import time_of
    from drytouch.viz.window import open_window

    open_window(recording, None if at is None else time_of(recording, at))
