"""``drytouch trials``: a scenario many times with chance at work, on all cores or a cluster."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS, EXIT_INTERRUPTED
from drytouch.sim.commands.results import as_json, files_for, renamed_when_whole, results_folder
from drytouch.sim.commands.scenarios import ready
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show_caution, show_files
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import (
    ClusterHands,
    Hands,
    OwnHands,
    PoolHands,
    workers_here,
)
from drytouch.sim.study.trials_page import UM_PER_MM, trials_page
from drytouch.sim.study.trials_plan import Plan
from drytouch.sim.study.trials_summary import Summary
from drytouch.sim.study.trials_table import FORMATS, open_table
from drytouch.sim.study.vary import parse_varies

if TYPE_CHECKING:
    from rich.console import Console


def trials(
    text: str,
    count: int,
    vary: Sequence[str],
    seed: int | None,
    workers: int | None,
    cluster: str | None,
    resume: bool,
    table_format: str,
    out: Path,
    as_data: bool,
) -> int:
    """Run the trials and report; gives back the exit code.

    Raises:
        InputError: scenario, key, distribution, folder or cluster can't be used.
    """
    if table_format not in FORMATS:
        raise InputError(
            f"'{table_format}' is no format of a table",
            key="--format",
            fix=f"use one of: {', '.join(FORMATS)}",
        )
    scenario, _ = ready(text)
    plan = Plan(
        scenario, parse_varies(scenario, vary), count, scenario.seed if seed is None else seed
    )
    stem = files_for(out, scenario.name).outcome.name.removesuffix(".outcome.json")
    files = [out / f"{stem}.trials.{ending}" for ending in (table_format, "json", "html")]
    with results_folder(out):
        parts = Parts(out / f"{stem}.trials.parts", plan)
        parts.open(resume)
        try:
            _do(parts, plan, workers, cluster)
        except KeyboardInterrupt:
            done = parts.done_trials()
            screen(to_errors=True).print(
                f"stopped after {done} of {count} trials; go on with --resume", soft_wrap=True
            )
            return EXIT_INTERRUPTED
        summary = merge(parts, files[0])
        if summary.all_undone:
            raise InputError(
                f"no trial could be done: {summary.first_problem}",
                text,
                fix="run it once with drytouch run, and mend what that says",
            )
        write_atomically(files[1], as_json(summary.to_dict()))
        write_atomically(files[2], trials_page(summary, CAUTION))
        parts.remove()
    if as_data:
        sys.stdout.write(as_json(summary.to_dict()))
    else:
        console = screen()
        show(console, summary)
        show_files(console, files, "")
        show_caution(console)
    return EXIT_AS_EXPECTED if summary.as_expected == summary.count else EXIT_DIFFERS


def _do(parts: Parts, plan: Plan, workers: int | None, cluster: str | None) -> None:
    """Whatever is missing; progress shows where a person is looking."""
    if not parts.missing():
        return
    hands: Hands
    if cluster is not None:
        hands = ClusterHands(plan, cluster)
    else:
        wanted = min(workers or workers_here(), len(parts.missing()))
        hands = PoolHands(plan, wanted) if wanted > 1 else OwnHands(plan)
    bar = Progress(
        TextColumn("trials"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=screen(to_errors=True),
        transient=True,
        auto_refresh=False,  # its thread would keep workers from being forked
        disable=not sys.stderr.isatty(),
    )
    task = bar.add_task("", total=plan.count, completed=parts.done_trials())
    with bar:
        do_trials(parts, hands, lambda count: bar.update(task, advance=count, refresh=True))


def merge(parts: Parts, path: Path) -> Summary:
    """All parts as one table, in the order of the trials, and what they came to."""
    summary = Summary(parts.plan)
    for rows in parts.read():
        summary.add(rows)
    with (
        renamed_when_whole(path) as temporary,
        open_table(temporary, parts.plan, list(summary.errors)) as table,
    ):
        for rows in parts.read():
            table.write(rows)
    return summary


def show(console: Console, summary: Summary) -> None:
    """Rates and spreads for a person at a terminal."""
    plan = summary.plan
    console.print(
        f"{plan.scenario.title or plan.scenario.name}: {summary.count} trials, seeds {plan.seed} "
        f"to {plan.seed + summary.count - 1}",
        style="bold",
        soft_wrap=True,
    )
    for vary in plan.varies:
        shown = ", ".join(str(value) for value in vary.values[:8])
        console.print(f"  {vary.typed}: {vary.kind} {shown}", soft_wrap=True)
    if summary.again:
        console.print(f"  {summary.again} draws were outside the scenario's limits: drawn again")
    console.print()
    rates = Table(show_edge=False)
    rates.add_column("")
    for head in ("trials", "rate", "95 % interval", "first"):
        rates.add_column(head, justify="right")
    for what, counts in (
        ("verdict", summary.verdicts),
        ("finding", summary.findings),
        ("alarm", summary.alarms),
    ):
        for name, hits in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            rate = summary.rate(hits)
            first = summary.first_of.get(f"{what} {name}")
            rates.add_row(
                f"{what} {name}", str(hits), f"{rate['rate']:.2%}",
                f"{rate['low']:.2%} to {rate['high']:.2%}",
                "" if first is None else f"seed {plan.seed + first}",
            )  # fmt: skip
    console.print(rates)
    if summary.first_problem:
        console.print(f"a step could not be done: {summary.first_problem}", soft_wrap=True)
    if summary.errors:
        console.print()
        console.print(_errors(summary))
    good = "yes" if summary.as_expected == summary.count else "NO"
    console.print()
    console.print(f"every trial {summary.wanted}, as expected: {good}")


def _errors(summary: Summary) -> Table:
    table = Table(title="errors, um", title_justify="left", show_edge=False)
    table.add_column("number", overflow="fold")
    for head in ("mean", "deviation", "5 %", "95 %", "95 % within ±", "inside tolerance"):
        table.add_column(head, justify="right")
    for name, spread in summary.errors.items():
        table.add_row(
            name,
            *(
                f"{value * UM_PER_MM:.3f}"
                for value in (
                    spread.mean,
                    spread.deviation,
                    spread.quantile(0.05),
                    spread.quantile(0.95),
                    spread.within(0.95),
                )
            ),
            f"{summary.inside[name] / spread.count:.2%}",
        )
    return table
