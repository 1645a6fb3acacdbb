"""One run's outcome for a person at a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.commands.expectation import Comparison

if TYPE_CHECKING:
    from rich.console import Console

    from drytouch.sim.recording import Source
    from drytouch.sim.scenario.scenario import Scenario
    from drytouch.sim.truth.finding import Finding
    from drytouch.sim.truth.number import Number
    from drytouch.sim.twin.outcome import Outcome

MEANINGS = {
    "harm": "something or someone was hit, or could have been",
    "wrong": "a stored number is false and nothing stopped it",
    "risky": "true numbers and nothing hit, but a check was skipped: luck",
    "stopped": "an alarm stopped it before harm",
    "right": "true numbers, nothing hit, nothing skipped",
}
MM_PER_INCH = 25.4
_WIDEST = 100  # longer lines are hard to read


def show(
    console: Console, scenario: Scenario, outcome: Outcome, comparison: Comparison
) -> None:  # fmt: skip
    """Print what happened: verdict, findings, alarms, numbers."""
    console.print(f"{scenario.title or outcome.scenario}  (seed {outcome.seed})", style="bold")
    if scenario.story:
        console.print(wrapped(console, scenario.story))
    console.print()
    console.print(f"verdict: {outcome.verdict} - {MEANINGS[outcome.verdict]}", style="bold")
    console.print(f"as expected: {'yes' if comparison.as_expected else 'NO'}", end="")
    console.print("" if comparison.as_expected else f" - {comparison.sentence()}", soft_wrap=True)
    for number, finding in enumerate(outcome.findings, 1):
        console.print()
        for line in finding_lines(console, number, finding, scenario):
            console.print(line, soft_wrap=True)
    if outcome.alarms:
        console.print()
        for (t, alarm), source in zip_longest(outcome.alarms, outcome.alarm_sources):
            console.print(f"alarm at {t:.3f} s: {alarm.code}: {alarm.message}", soft_wrap=True)
            where = place_of(source, scenario) if source is not None else ""
            if where:
                console.print(f"   {where}", soft_wrap=True)
    if outcome.numbers:
        console.print()
        console.print(numbers_table(list(outcome.numbers.values()), scenario.display))
    console.print(f"simulated time {outcome.time_s:.1f} s")


def finding_lines(
    console: Console, number: int, finding: Finding, scenario: Scenario
) -> Iterator[str]:
    """A finding's head, its place, and its three sentences."""
    yield f"{number}. {finding.code} ({finding.severity}) at {finding.time_s:.3f} s"
    where = place_of(finding.source, scenario)
    if where:
        yield f"   {where}"
    unit, scale, digits = unit_of(scenario.display)
    spot = ", ".join(
        f"{axis} {value / scale:.{digits}f}"
        for axis, value in zip("XYZ", finding.place_mm, strict=True)
    )
    yield f"   spindle face at {spot} {unit}"
    for head, sentence in (
        ("what happened: ", finding.what),
        ("why: ", finding.why),
        ("how to avoid it: ", finding.avoid),
    ):
        if sentence:
            yield wrapped(console, head + sentence, "   ")


def place_of(source: Source, scenario: Scenario) -> str:
    """Which step, program line or call it was, in words; empty where nobody asked for it."""
    parts = []
    if source.step is not None:
        note = scenario.steps[source.step].note if source.step < len(scenario.steps) else ""
        name = f" ({source.call})" if source.call else ""
        parts.append(f"step {source.step + 1}{name}{': ' + note if note else ''}")
    elif source.call:
        parts.append(f"call {source.call}")
    if source.program_line is not None:
        file = f" of {Path(source.file).name}" if source.file else ""
        parts.append(f"line {source.program_line}{file}")
    return ", ".join(parts)


def numbers_table(numbers: list[Number], display: str) -> Table:
    """Stored numbers: what the controller has, what is so, how far off, how far it may be."""
    unit, scale, digits = unit_of(display)
    table = Table(title=f"numbers, {unit}", title_justify="left", show_edge=False)
    table.add_column("number", overflow="fold")
    for head in ("believed", "true", "off by", "may be off by"):
        table.add_column(head, justify="right")
    table.add_column("")
    for entry in numbers:
        off = abs(entry.error) > entry.tolerance
        table.add_row(
            entry.name,
            f"{entry.belief / scale:.{digits}f}",
            f"{entry.truth / scale:.{digits}f}",
            f"{entry.error / scale:+.{digits}f}",
            f"{entry.tolerance / scale:.{digits}f}",
            "off" if off else "good",
        )
    return table


def unit_of(display: str) -> tuple[str, float, int]:
    """Unit, mm in one of it, and places that show a micrometre."""
    return ("inch", MM_PER_INCH, 5) if display == "inch" else ("mm", 1.0, 4)


def show_files(console: Console, paths: list[Path], no_picture: str) -> None:
    """Say where the results are, and why a picture is missing."""
    console.print()
    for path in paths:
        console.print(f"written: {path}", soft_wrap=True)
    if no_picture:
        console.print(f"no picture: {no_picture}", soft_wrap=True)


def show_caution(console: Console) -> None:
    """Print the caution."""
    console.print()
    console.print(wrapped(console, f"Caution: {CAUTION}"), style="italic")


def wrapped(console: Console, text: str, indent: str = "") -> str:
    """Text in lines that fit the terminal, further lines indented."""
    width = min(console.width, _WIDEST)
    return textwrap.fill(
        text,
        max(width, 40),
        initial_indent=indent,
        subsequent_indent=indent + ("  " if indent else ""),
    )
