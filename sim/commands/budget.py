"""``drytouch budget``: where the error of a number comes from, and whether the twin agrees."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table

from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS
from drytouch.sim.commands.results import as_json
from drytouch.sim.commands.scenarios import ready
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show_caution
from drytouch.sim.errors import InputError
from drytouch.sim.study.budget import Budget, budget_of
from drytouch.sim.study.budget_check import Against, against
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import Hands, OwnHands, PoolHands, workers_here
from drytouch.sim.study.trials_plan import Plan
from drytouch.sim.study.trials_summary import Summary
from drytouch.sim.study.vary import parse_varies

if TYPE_CHECKING:
    from rich.console import Console

UM_PER_MM = 1e3


def budget(
    text: str,
    count: int,
    vary: Sequence[str],
    seed: int | None,
    workers: int | None,
    as_data: bool,
) -> int:
    """Work the budget out, run the trials, compare; gives back the exit code.

    Raises:
        InputError: the scenario can't be used, or stores no number that a touch gave.
    """
    scenario, _ = ready(text)
    varies = parse_varies(scenario, vary)
    plan = Plan(scenario, varies, count, scenario.seed if seed is None else seed)
    errors = screen(to_errors=True)
    with errors.status("working out the budget") if errors.is_terminal else nullcontext():
        found = budget_of(scenario, varies)
    with errors.status(f"{count} trials") if errors.is_terminal else nullcontext():
        summary = run_here(plan, workers)
    compared = against(found, summary)
    if not compared:
        raise InputError(
            f"no trial stored a number: {summary.first_problem or 'all of them were stopped'}",
            text,
            fix="run it once with drytouch run, and see what stops it",
        )
    if as_data:
        sys.stdout.write(as_json(_report(plan, found, compared)))
    else:
        console = screen()
        _show(console, plan, found, compared)
        show_caution(console)
    return EXIT_AS_EXPECTED if all(entry.agree for entry in compared) else EXIT_DIFFERS


def run_here(plan: Plan, workers: int | None) -> Summary:
    """Trials whose rows nobody wants to keep."""
    with tempfile.TemporaryDirectory() as folder:
        parts = Parts(Path(folder) / "parts", plan)
        parts.open(resume=False)
        wanted = min(workers or workers_here(), plan.parts)
        hands: Hands = PoolHands(plan, wanted) if wanted > 1 else OwnHands(plan)
        do_trials(parts, hands)
        summary = Summary(plan)
        for rows in parts.read():
            summary.add(rows)
    return summary


def _report(plan: Plan, found: Budget, compared: list[Against]) -> dict[str, Any]:
    return {
        "format": "drytouch budget",
        "format_version": 1,
        "scenario": plan.scenario.name,
        "trials": plan.count,
        "first_seed": plan.seed,
        "agree": all(entry.agree for entry in compared),
        "numbers": [entry.to_dict(found) for entry in compared],
    }


def _show(console: Console, plan: Plan, found: Budget, compared: list[Against]) -> None:
    title = plan.scenario.title or plan.scenario.name
    console.print(f"{title}: where errors come from", style="bold", soft_wrap=True)
    for entry in compared:
        console.print()
        console.print(_terms(entry))
        line, trials = entry.line, entry.trials
        low, high = line.drawn_interval()
        console.print(
            f"by propagation {_um(line.bias)} with deviation {_um(line.deviation)} um; by draws "
            f"{_um(line.drawn_bias)} with {_um(line.drawn_deviation)} um, 95 % from {_um(low)} to "
            f"{_um(high)} um",
            soft_wrap=True,
        )
        console.print(
            f"{trials.count} trials {_um(trials.mean)} with deviation {_um(trials.deviation)} um: "
            f"{'agree' if entry.agree else 'DISAGREE'}; deviations differ by "
            f"{(entry.ratio - 1) * 100:+.1f} % (chance alone: ±{entry.open_ratio * 100:.1f} %), "
            f"means by {_um(entry.difference)} um (±{entry.open_difference * UM_PER_MM:.3f})",
            soft_wrap=True,
        )
    _show_shared(console, found)


def _um(value_mm: float) -> str:
    text = f"{value_mm * UM_PER_MM:+.3f}"
    return "0.000" if text in ("+0.000", "-0.000") else text.removeprefix("+")


def _terms(entry: Against) -> Table:
    line = entry.line
    table = Table(title=f"{line.name}, um", title_justify="left", show_edge=False)
    table.add_column("cause", overflow="fold")
    table.add_column("spread")
    for head in ("deviation", "share", "bias"):
        table.add_column(head, justify="right")
    for term in sorted(line.terms, key=lambda term: (-term.deviation, -abs(term.bias))):
        scatters = term.deviation > 0.0
        table.add_row(
            term.cause,
            term.shape,
            _um(term.deviation) if scatters else "",
            f"{line.share(term):.1%}" if scatters else "",
            _um(term.bias),
        )
    return table


def _show_shared(console: Console, found: Budget) -> None:
    pairs = [
        (one.name, other.name, found.correlation(one, other))
        for place, one in enumerate(found.lines)
        for other in found.lines[place + 1 :]
    ]
    shared = [pair for pair in pairs if abs(pair[2]) > 0.005]
    if not shared:
        return
    console.print()
    console.print("touches that two numbers share make their scatter go together:")
    for one, other, correlation in shared:
        console.print(f"  {one} and {other}: correlation {correlation:+.2f}", soft_wrap=True)
