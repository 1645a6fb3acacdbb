"""``drytouch feeds``: how fast a setter may be touched, and the back-off that it takes."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS
from drytouch.sim.commands.results import as_json, files_for, results_folder
from drytouch.sim.commands.scenarios import ready
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show_caution, show_files
from drytouch.sim.errors import InputError
from drytouch.sim.faults import with_faults
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.study.feeds import chains_of
from drytouch.sim.study.feeds_report import FeedReport, report_on
from drytouch.sim.study.trials_plots import page

if TYPE_CHECKING:
    from rich.console import Console


def feeds(
    text: str, setter: str | None, tool: str | None, margin: float, out: Path, as_data: bool
) -> int:
    """Work the feeds out, run the twin at them, report; gives back the exit code.

    Raises:
        InputError: the scenario, a name or the margin can't be used.
    """
    if not 0.0 <= margin < 1.0:
        raise InputError(
            f"a margin of {margin:g}", key="--margin", fix="give a share from 0 to below 1"
        )
    scenario, _ = ready(text)
    scenario = with_faults(scenario)
    chains = chains_of(scenario, setter, tool)
    errors = screen(to_errors=True)
    name = files_for(out, scenario.name).outcome.name.removesuffix(".outcome.json")
    with results_folder(out):
        with errors.status("touching") if errors.is_terminal else nullcontext():
            reports = [report_on(scenario, chain, margin) for chain in chains]
        data = {
            "format": "drytouch feeds",
            "format_version": 1,
            "scenario": scenario.name,
            "safe": all(report.record_is_safe for report in reports),
            "setters": [report.to_dict() for report in reports],
        }
        files = [out / f"{name}.feeds.json", out / f"{name}.feeds.html"]
        title = f"{scenario.title or scenario.name}: touching feeds"
        write_atomically(files[0], as_json(data))
        write_atomically(files[1], page(title, [report.plot() for report in reports], CAUTION))
    if as_data:
        sys.stdout.write(as_json(data))
    else:
        console = screen()
        console.print(title, style="bold", soft_wrap=True)
        for report in reports:
            console.print()
            _show(console, report)
        show_files(console, files, "")
        show_caution(console)
    proved = all(report.proved or not report.shown for report in reports)
    return EXIT_AS_EXPECTED if data["safe"] and proved else EXIT_DIFFERS


def _show(console: Console, report: FeedReport) -> None:
    chain, record = report.chain, report.chain.record
    room, what = chain.budget
    console.print(
        f"{chain.setter_name} under {chain.tool_name or 'the bare face'}: {room:.3f} mm of "
        f"overtravel ({what}); {report.margin:.0%} of it is kept free",
        soft_wrap=True,
    )
    if room <= 0.0:
        console.print("the pad's force alone is more than this tool bears: no feed is safe")
        return
    console.print(_limits(report))
    needed = chain.back_off(chain.fast(True, report.margin)[0], report.slow_used)
    parts = ", ".join(f"{cause} {value:.3f}" for cause, value in needed.items())
    console.print(
        f"at these feeds the back-off must exceed {sum(needed.values()):.3f} mm: {parts}",
        soft_wrap=True,
    )
    over = chain.overtravel(record.fast_mm_per_min / 60.0)
    console.print(
        f"the record says {record.fast_mm_per_min:g} and {record.slow_mm_per_min:g} mm/min with "
        f"{record.back_off_mm:g} mm: {'safe' if report.record_is_safe else 'NOT SAFE'}; worst "
        f"overtravel {over:.3f} mm ({over / room:.0%}), back-off needed "
        f"{report.record_back_off:.3f} mm",
        soft_wrap=True,
    )
    slow = chain.slow(False, report.margin)[0]
    if record.slow_mm_per_min > slow:
        which = f"its slow feed is above {slow:.1f} mm/min" if slow else "whatever the feed"
        console.print(
            f"{which}: two slow touches will not always agree within {record.agree_mm:g} mm",
            soft_wrap=True,
        )
    console.print()
    console.print(_twin(report))
    for problem in dict.fromkeys(entry.worst.problem for entry in report.shown):
        if problem:
            console.print(f"the twin could not touch: {problem}", soft_wrap=True)


def _limits(report: FeedReport) -> Table:
    chain = report.chain
    table = Table(title="highest feeds, mm/min", title_justify="left", show_edge=False)
    table.add_column("")
    for head in ("fast", "limited by", "slow", "limited by"):
        table.add_column(head, justify="right" if head in ("fast", "slow") else "left")
    for case, worst in (("worst case", True), ("expected", False)):
        fast, why = chain.fast(worst, report.margin)
        slow, why_slow = chain.slow(worst, report.margin)
        table.add_row(case, f"{fast:.1f}", why, f"{slow:.1f}" if slow else "none", why_slow)
    alone = chain.root(chain.budget[0] * (1 - report.margin)) * 60.0
    table.add_row("pad alone, margin kept", f"{alone:.1f}", chain.budget[1], "", "")
    table.add_row("pad alone, no margin", f"{report.limit:.1f}", chain.budget[1], "", "")
    return table


def _twin(report: FeedReport) -> Table:
    table = Table(title="on the twin, overtravel in mm", title_justify="left", show_edge=False)
    for head in ("feed", "worst seen", "formula", "mean seen", "formula", "too much", ""):
        table.add_column(head, justify="right")
    for entry in report.shown:
        table.add_row(
            f"{entry.feed:.1f}",
            f"{entry.worst.overtravel_mm:.4f}",
            f"{entry.formula_worst:.4f}",
            f"{entry.plain_mean:.4f}",
            f"{entry.formula_expected:.4f}",
            "yes" if entry.worst.too_much else "no",
            "as said" if entry.agrees else "DIFFERS",
        )
    return table
