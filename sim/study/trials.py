"""A scenario many times with chance at work: parts on disk, merged in the order of the trials.

Each part is a file that is there whole or not at all. A study that was stopped, by Ctrl-C, by a
lost worker or by the power, goes on from the parts that are there and ends with the same bytes.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from pathlib import Path
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.study.trials_hands import Hands
from drytouch.sim.study.trials_plan import Plan

_PLAN_FILE = "plan.json"
_FORMAT = 1
# A part that takes its worker with it this often would do so for ever.
MOST_TRIES = 3


class Parts:
    """The folder of a study's finished parts."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        self.folder = folder
        self.plan = plan

    def open(self, resume: bool) -> None:
        """Make the folder, or go on in it.

        Raises:
            InputError: it holds another study, or an unfinished one and ``resume`` was not said.
        """
        told = self.folder / _PLAN_FILE
        facts = {
            "format": "drytouch parts", "format_version": _FORMAT,
            "identity": self.plan.identity, "count": self.plan.count, "seed": self.plan.seed,
        }  # fmt: skip
        if told.is_file():
            try:
                known = json.loads(told.read_text(encoding="utf-8"))
            except ValueError:
                known = None
            if resume and known != facts:
                raise InputError(
                    "the unfinished trials here are of another study: scenario, --vary, --count, "
                    "--seed or version differ",
                    str(self.folder),
                    fix="give the same as before, name another --out, or delete this folder",
                )
            if not resume:
                raise InputError(
                    f"unfinished trials are here: {self.done_trials()} of {self.plan.count} done"
                    if known == facts
                    else "unfinished trials of another study are here",
                    str(self.folder),
                    fix="add --resume to go on with them, or delete this folder",
                )
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        write_atomically(told, json.dumps(facts) + "\n")

    def path(self, number: int) -> Path:
        """The file of a part."""
        return self.folder / f"part-{number:06d}.json"

    def missing(self) -> list[int]:
        """Numbers of the parts that are not there."""
        there = {path.name for path in self.folder.glob("part-*.json")}
        return [n for n in range(self.plan.parts) if self.path(n).name not in there]

    def done_trials(self) -> int:
        """How many trials are finished."""
        missing = sum(self.plan.part(number)[1] for number in self.missing())
        return self.plan.count - missing

    def read(self) -> Iterator[list[list[Any]]]:
        """The rows of all parts, in the order of the trials, one part at a time.

        Raises:
            InputError: a part was changed by somebody.
        """
        for number in range(self.plan.parts):
            try:
                rows = json.loads(self.path(number).read_bytes())
                first, count = self.plan.part(number)
                if [row[0] for row in rows] != list(range(first, first + count)):
                    raise ValueError
            except (ValueError, OSError, TypeError, IndexError):
                raise InputError(
                    "this part is damaged",
                    str(self.path(number)),
                    fix="delete it and go on with --resume",
                ) from None
            yield rows

    def remove(self) -> None:
        """Everything is merged: the parts are not needed any more."""
        shutil.rmtree(self.folder, ignore_errors=True)


def do_trials(
    parts: Parts, hands: Hands, progress: Callable[[int], None] = lambda count: None
) -> None:
    """Do every part that is missing; ``progress`` is told how many trials each one had.

    Raises:
        InputError: a limit refuses all draws of a trial, or a part was lost again and again.
    """
    plan = parts.plan
    left = iter(parts.missing())
    running: dict[Future[bytes], int] = {}
    losses = _Losses(plan)
    calm = False
    try:
        while True:
            while len(running) < hands.window and (number := next(left, None)) is not None:
                running[hands.submit(*plan.part(number))] = number
            if not running:
                calm = True
                return
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            again: list[int] = []
            broken: BaseException | None = None
            for future in done:
                number = running.pop(future)
                error = CancelledError() if future.cancelled() else future.exception()
                if error is None:
                    write_atomically(parts.path(number), future.result())
                    losses.forget()
                    progress(plan.part(number)[1])
                elif isinstance(error, BrokenExecutor):
                    broken = error
                    again.append(number)
                else:
                    losses.count(number, error)
                    again.append(number)
            if broken is not None:
                # A pool that lost one process has lost what all of them were doing.
                again += running.values()
                running.clear()
                losses.count_break(broken)
                if not hands.renew():
                    raise _gone() from broken
            for number in sorted(again):
                running[hands.submit(*plan.part(number))] = number
    finally:
        hands.close(wait=calm)


class _Losses:
    """Counts what was lost; what is lost again and again would be so for ever."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._parts: dict[int, int] = {}
        self._breaks = 0

    def forget(self) -> None:
        """A part has been finished since the pool broke last."""
        self._breaks = 0

    def count(self, number: int, error: BaseException) -> None:
        """A part came back with an error: a lost worker's is counted, any other is raised."""
        lost = isinstance(error, CancelledError | OSError)
        if not lost and not type(error).__module__.startswith("distributed"):
            raise error
        self._parts[number] = self._parts.get(number, 0) + 1
        if self._parts[number] >= MOST_TRIES:
            first, count = self._plan.part(number)
            raise _lost(f"trials {first} to {first + count - 1}", error) from error

    def count_break(self, error: BaseException) -> None:
        """The whole pool broke."""
        self._breaks += 1
        if self._breaks >= MOST_TRIES:
            raise _lost("the next trials", error) from error


def _lost(what: str, error: BaseException) -> InputError:
    return InputError(
        f"{what} were lost {MOST_TRIES} times with their worker: {type(error).__name__}: {error}",
        fix="look for what ends the worker (memory?); finished parts are kept for --resume",
    )


def _gone() -> InputError:
    return InputError(
        "the executor has lost its workers", fix="finished parts are kept: go on with --resume"
    )
