"""A run told to a person in plain text: what was run, what came of it, and on which line."""

from __future__ import annotations

import linecache
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from drytouch.sim.faults import FAULTS
from drytouch.sim.study.job import Job, Ran, whole_path
from drytouch.sim.truth.verdict import ORDER

if TYPE_CHECKING:
    from drytouch.sim.truth.finding import Finding
    from drytouch.sim.truth.number import Number
    from drytouch.sim.twin.outcome import Outcome

_NEIGHBOURS = 2  # lines of the routine shown before and after the one in question


def account(ran: Ran, what: str, faults: tuple[str, ...], verdict: str, job: Job) -> str:
    """Each finding, alarm and number in a line; the worst finding's line with its neighbours."""
    outcome = ran.outcome
    lines = [f"{what} on '{outcome.scenario}', seed {outcome.seed}{under(faults)}"]
    lines.append(f"Verdict: {verdict}")
    lines += [_finding_line(finding) for finding in outcome.findings]
    lines += [f"- alarm {alarm.code} at {t:.3f} s: {alarm.message}" for t, alarm in outcome.alarms]
    if ran.broke_off:
        lines.append(f"- it broke off: {ran.broke_off}")
    if outcome.error:
        lines.append(f"- {outcome.error}")
    if outcome.numbers:
        lines.append("Numbers:")
        lines += [_number_line(number) for number in outcome.numbers.values()]
    return "\n".join([*lines, *_place(outcome, job)])


def under(faults: tuple[str, ...]) -> str:
    """Faults by name and title, to go on a sentence; empty where there are none."""
    if not faults:
        return ""
    return ", with " + "; ".join(f"'{name}' ({FAULTS[name].title})" for name in faults)


def _place(outcome: Outcome, job: Job) -> Iterator[str]:
    placed = [f for f in outcome.findings if f.source.file and f.source.program_line]
    if not placed:
        return
    worst = min(placed, key=lambda finding: ORDER.index(finding.severity))
    assert worst.source.file is not None
    assert worst.source.program_line is not None
    path, line = whole_path(worst.source.file, job), worst.source.program_line
    linecache.checkcache(str(path))  # a live bench may have changed it since
    yield f"At {path.name}, line {line} ({worst.code}):"
    for number in range(max(line - _NEIGHBOURS, 1), line + _NEIGHBOURS + 1):
        text = linecache.getline(str(path), number)
        if text:
            mark = ">" if number == line else " "
            yield f"{mark} {number:4} | {text.rstrip()}"


def _finding_line(finding: Finding) -> str:
    place = ""
    if finding.source.file and finding.source.program_line:
        place = f", line {finding.source.program_line} of {Path(finding.source.file).name}"
    why = f" {finding.why}" if finding.why else ""
    return (
        f"- {finding.code} ({finding.severity}) at {finding.time_s:.3f} s{place}: "
        f"{finding.what}{why}"
    )


def _number_line(number: Number) -> str:
    off = abs(number.error) > number.tolerance
    return (
        f"- {number.name}: believed {number.belief:.4f} mm, true {number.truth:.4f} mm, off by "
        f"{number.error * 1e3:+.1f} um; {number.tolerance * 1e3:.1f} um are allowed"
        f"{'  <- too far off' if off else ''}"
    )
