"""``drytouch demo``: every demonstration, what it promises against what is seen."""

from __future__ import annotations

import sys
from pathlib import Path
from textwrap import fill
from typing import Any, NamedTuple

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table

from drytouch.sim.commands.expectation import Comparison, compare
from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS, EXIT_INTERRUPTED
from drytouch.sim.commands.pictures import Pictures
from drytouch.sim.commands.results import Files, as_json, files_for, keep, results_folder
from drytouch.sim.commands.scenarios import perform
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show_caution
from drytouch.sim.errors import DrytouchError, InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.truth.catalogue import CATALOGUE


class Shown(NamedTuple):
    """One demonstration that was run; ``problem`` where it could not be."""

    name: str
    comparison: Comparison | None = None
    promised: tuple[str, ...] = ()
    seen: tuple[str, ...] = ()
    files: Files | None = None
    drawn: bool = False
    problem: str = ""

    @property
    def as_expected(self) -> bool:
        """Whether it ran and showed what it promises."""
        return self.comparison is not None and self.comparison.as_expected

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a report."""
        files = self.files
        return {
            "scenario": self.name,
            **(self.comparison.to_dict() if self.comparison else {"as_expected": False}),
            "expected_findings": list(self.promised),
            "seen_findings": list(self.seen),
            "problem": self.problem,
            "outcome_file": str(files.outcome) if files else "",
            "recording_file": str(files.recording) if files else "",
            "picture_file": str(files.picture) if files and self.drawn else "",
        }


def demo(out: Path, picture: bool, as_data: bool) -> int:
    """Run all demonstrations and report; gives back the exit code.

    Raises:
        InputError: the library has none, or the folder can't be written to.
    """
    names = library.names("demonstration")
    if not names:
        raise InputError(
            "the library holds no demonstrations", fix="install drytouch again: files are missing"
        )
    shown: list[Shown] = []
    stopped = False
    with results_folder(out), Pictures(picture) as pictures, _progress() as progress:
        task = progress.add_task("", total=len(names))
        for name in names:
            progress.update(task, description=name)
            try:
                shown.append(_one(name, out, pictures))
            except KeyboardInterrupt:  # what is done stays, and is reported
                stopped = True
                break
            progress.advance(task)
    differ = [entry.name for entry in shown if not entry.as_expected]
    if as_data:
        report = {
            "as_expected": not differ and not stopped,
            "finished": not stopped,
            "demonstrations": [entry.to_dict() for entry in shown],
            "no_picture": pictures.reason,
        }
        sys.stdout.write(as_json(report))
    else:
        _report(shown, differ, out, pictures)
    if stopped:
        screen(to_errors=True).print(
            f"stopped after {len(shown)} of {len(names)}; finished work is in {out}",
            soft_wrap=True,
        )
        return EXIT_INTERRUPTED
    return EXIT_DIFFERS if differ else EXIT_AS_EXPECTED


def _progress() -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=screen(to_errors=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def _one(name: str, out: Path, pictures: Pictures) -> Shown:
    try:
        path = library.path("demonstration", name)
        scenario = load_scenario(path)
        outcome = perform(scenario, path, None)
        files = files_for(out, name)
        recording = keep(outcome, files)
    except DrytouchError as error:  # one that can't run must not hide the others
        return Shown(name, problem=str(error))
    drawn = pictures.draw(recording, files.picture)
    promised = scenario.expect.findings if scenario.expect else ()
    comparison = compare(scenario, outcome)
    return Shown(name, comparison, promised, outcome.codes, files, drawn is not None)


# "setter-crushed" and its like, with their dash: narrower columns would break them.
_WIDEST = 2 + max(len(code) for code in CATALOGUE)


def _report(shown: list[Shown], differ: list[str], out: Path, pictures: Pictures) -> None:
    console = screen()
    table = Table(show_edge=False, pad_edge=False)
    table.add_column("demonstration", overflow="fold")
    # What is left of a terminal of 80 columns; names break at their dashes.
    room = max(console.width - 2 * _WIDEST - 15, 16)
    for head in ("expected", "seen"):
        table.add_column(head, min_width=_WIDEST)
    table.add_column("same")
    for entry in shown:
        good = "yes" if entry.as_expected else "NO"
        if entry.comparison is None:
            table.add_row(fill(entry.name, room), "", entry.problem, good)
            continue
        table.add_row(
            fill(entry.name, room),
            _said(entry.comparison.expected, entry.promised),
            _said(entry.comparison.seen, _in_order(entry.seen, entry.promised)),
            good,
        )
    console.print(table)
    console.print()
    console.print(f"{len(shown) - len(differ)} of {len(shown)} demonstrations as expected")
    for entry in shown:
        if entry.comparison is not None and not entry.as_expected:
            console.print(f"{entry.name}: {entry.comparison.sentence()}", soft_wrap=True)
    drawn = sum(entry.drawn for entry in shown)
    console.print(f"outcomes, recordings{' and pictures' if drawn else ''}: {out}/", soft_wrap=True)
    if pictures.reason:
        console.print(f"no picture: {pictures.reason}", soft_wrap=True)
    show_caution(console)


def _said(verdict: str, findings: tuple[str, ...]) -> str:
    """The verdict, then a finding a line: a list would break in the middle of its words."""
    return "\n".join((verdict, *(f"- {code}" for code in findings)))


def _in_order(seen: tuple[str, ...], promised: tuple[str, ...]) -> tuple[str, ...]:
    """Promised findings first and in their order, so that two columns compare at a glance."""
    known = [code for code in promised if code in seen]
    return (*known, *(code for code in seen if code not in promised))
