"""``drytouch matrix``: a routine against every fault; on the screen, and in files for others."""

from __future__ import annotations

import json
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table

from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS, EXIT_INTERRUPTED
from drytouch.sim.commands.pictures import Pictures
from drytouch.sim.commands.results import as_json, results_folder
from drytouch.sim.commands.scenarios import scenario_path
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show_caution, wrapped
from drytouch.sim.errors import InputError
from drytouch.sim.faults import FAULTS, faulty
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.case import WORST_FIRST, Case
from drytouch.sim.study.job import Job, job_beside, job_named, run_job
from drytouch.sim.study.junit import junit
from drytouch.sim.study.limits import broken, limit_from
from drytouch.sim.study.matrix import RUNS_WITHOUT, SCORE_RULE, Done, Matrix, run_matrix
from drytouch.sim.study.page import page
from drytouch.sim.study.sarif import sarif

if TYPE_CHECKING:
    from rich.console import Console

# A picture takes about half a second and 100 kB of the page; more are not looked at.
MOST_PICTURES = 12


def matrix(
    text: str,
    on: str,
    given: Sequence[str],
    after_step: int | None,
    beside: str | None,
    pairs: bool,
    only: Sequence[str],
    require: Sequence[str],
    seed: int | None,
    out: Path,
    picture: bool,
    as_data: bool,
) -> int:
    """Run a routine (and another beside it) against every fault; gives back the exit code.

    Raises:
        InputError: routine, scenario, arguments, limits or folder can't be used.
    """
    limits = [limit_from(entry) for entry in require]
    file = scenario_path(on)
    scenario = load_scenario(file)
    arguments = _arguments(given)
    jobs = [job_named(text, scenario, arguments, after_step)]
    if beside:
        jobs.append(job_beside(beside, scenario, jobs[0]))
    matrices: list[Matrix] = []
    with results_folder(out), _progress(len(jobs), pairs, len(only)) as done:
        for job in jobs:
            matrices.append(run_matrix(job, scenario, pairs=pairs, only=only, seed=seed, done=done))
        with Pictures(picture) as pictures:
            drawn = _draw(matrices[0], scenario, pictures)
        files = _write(matrices, out, drawn, file)
    kept = [why for entry in limits for why in [broken(entry, matrices[0])] if why]
    if as_data:
        sys.stdout.write(as_json(_report(matrices, kept)))
    else:
        _show(matrices, kept, [str(entry) for entry in limits], files, pictures.reason)
    if not all(entry.finished for entry in matrices):
        screen(to_errors=True).print(f"stopped; finished work is in {out}", soft_wrap=True)
        return EXIT_INTERRUPTED
    return EXIT_AS_EXPECTED if matrices[0].sound and not kept else EXIT_DIFFERS


def _arguments(given: Sequence[str]) -> dict[str, Any]:
    """``name=value`` as TOML reads the value; a bare word is text."""
    found = {}
    for entry in given:
        name, equals, text = entry.partition("=")
        if not equals or not name.strip():
            raise InputError(f"'{entry}' is no argument", fix="write it as in row=1")
        try:
            value = tomllib.loads(f"value = {text}")["value"]
        except tomllib.TOMLDecodeError:
            value = text.strip()
        found[name.strip()] = value
    return found


@contextmanager
def _progress(jobs: int, pairs: bool, only: int) -> Iterator[Done]:
    count = only or len(FAULTS)
    total = jobs * (RUNS_WITHOUT + count + (count * (count - 1) // 2 if pairs else 0))
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=screen(to_errors=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    with bar:
        task = bar.add_task("", total=total)

        def done(case: Case) -> None:
            bar.update(task, advance=1, description=case.name)

        yield done


def _draw(matrix: Matrix, scenario: Scenario, pictures: Pictures) -> dict[str, bytes]:
    """Pictures of the harm: those runs once more, for their recordings."""
    drawn: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        for case in [c for c in matrix.cases if c.result == "harm"][:MOST_PICTURES]:
            path = pictures.draw(
                _recording(matrix.job, scenario, case, matrix.seed), Path(folder) / "harm.png"
            )
            if path is None:
                break
            drawn[case.name] = path.read_bytes()
    return drawn


def _recording(job: Job, scenario: Scenario, case: Case, seed: int) -> Recording:
    outcome = run_job(job, faulty(scenario, *case.faults), seed).outcome
    assert outcome.recorder is not None  # a twin's outcome always has one
    outcome.recorder.end(outcome.time_s, outcome.to_dict())
    return Recording.from_recorder(outcome.recorder)


def _write(matrices: list[Matrix], out: Path, drawn: dict[str, bytes], file: Path) -> list[Path]:
    texts = {
        "matrix.json": as_json(_report(matrices, [])),
        "matrix.html": page(matrices, drawn),
        "matrix.junit.xml": junit(matrices),
        "matrix.sarif": json.dumps(sarif(matrices, file), indent=2) + "\n",
    }
    written = []
    for name, text in texts.items():
        write_atomically(out / name, text)
        written.append(out / name)
    return written


def _report(matrices: list[Matrix], kept: list[str]) -> dict[str, Any]:
    return {
        "format": "drytouch matrix",
        "format_version": 1,
        "matrices": [entry.to_dict() for entry in matrices],
        "limits_broken": kept,
    }


def _show(
    matrices: list[Matrix], kept: list[str], limits: list[str], files: list[Path], reason: str
) -> None:
    console = screen()
    for entry in matrices:
        if not entry.sound:
            _show_unsound(console, entry)
    sound = [entry for entry in matrices if entry.sound]
    if sound:
        console.print(_table(sound))
        _show_quiet(console, sound)
        _show_pairs(console, sound[0])
        console.print()
        for entry in sound:
            _show_score(console, entry)
        console.print(wrapped(console, f"The score: {SCORE_RULE}."))
    for why in kept:
        console.print(f"limit broken: {why}", soft_wrap=True)
    if limits and not kept:
        console.print(f"limits kept: {', '.join(limits)}", soft_wrap=True)
    console.print()
    for path in files:
        console.print(f"written: {path}", soft_wrap=True)
    if reason:
        console.print(f"no picture: {reason}", soft_wrap=True)
    show_caution(console)


def _show_unsound(console: Console, entry: Matrix) -> None:
    case = entry.without[0]
    console.print(f"{entry.job.name}: without any fault it ended '{case.verdict}'", soft_wrap=True)
    for text in [case.why] + [finding["what"] for finding in case.findings]:
        console.print(wrapped(console, text, "   "))
    console.print(
        wrapped(console, "A routine that does not come out right where nothing is wrong says "
        "nothing about faults: mend it first. It gets no score.")
    )  # fmt: skip


def _table(matrices: list[Matrix]) -> Table:
    table = Table(show_edge=False)
    table.add_column("fault", overflow="fold")
    for entry in matrices:
        name = entry.job.name.replace("\\", "/").rpartition("/")[2]
        table.add_column(name if len(matrices) > 1 else "", no_wrap=True)
        if len(matrices) == 1:
            table.add_column("why, and what it takes to catch it", overflow="fold")
    others = [{case.faults: case for case in entry.cases} for entry in matrices[1:]]
    for case in sorted(matrices[0].cases, key=lambda case: WORST_FIRST.index(case.result)):
        if case.faults in _quiet(matrices):
            continue
        cells = [case.name, _word(case)]
        if len(matrices) == 1:
            catch = case.result in ("missed", "harm")
            cells.append(f"{case.why} TO CATCH IT: {case.catch}" if catch else case.why)
        for other in others:
            found = other.get(case.faults)
            cells.append(_word(found) if found else "")
        table.add_row(*cells)
    return table


def _quiet(matrices: list[Matrix]) -> dict[tuple[str, ...], Case]:
    """Faults without an effect on any of the routines: listed, not tabled."""
    loud = {case.faults for entry in matrices for case in entry.cases if case.result != "no effect"}
    return {case.faults: case for case in matrices[0].cases if case.faults not in loud}


def _show_quiet(console: Console, matrices: list[Matrix]) -> None:
    quiet = _quiet(matrices).values()
    console.print()
    for head, names in (
        ("no effect here", [case.name for case in quiet if not case.impossible]),
        ("can't happen here", [case.name for case in quiet if case.impossible]),
    ):
        if names:
            console.print(wrapped(console, f"{head} ({len(names)}): {', '.join(names)}"))


def _word(case: Case) -> str:
    outside = case.result != "no effect" and not case.counts
    return f"{case.result} (not in the score)" if outside else case.result


def _show_pairs(console: Console, entry: Matrix) -> None:
    if not entry.pairs:
        return
    worse = entry.worse_together
    console.print()
    console.print(
        f"{len(entry.pairs)} pairs of faults; {len(worse)} end worse than either fault alone"
    )
    for case in worse:
        console.print(wrapped(console, f"{case.name}: {case.result}. {case.why}", "   "))


def _show_score(console: Console, entry: Matrix) -> None:
    counts = ", ".join(f"{entry.count(result)} {result}" for result in WORST_FIRST)
    score = "no score" if entry.score is None else f"score {entry.score:.0f} of 100"
    console.print(
        f"{entry.job.name}: {score}; {counts}; {entry.false_stops} false stops in "
        f"{len(entry.without)} runs without a fault",
        soft_wrap=True,
    )
