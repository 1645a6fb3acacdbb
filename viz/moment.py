"""The moment of a recording that says most, and the finding it shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording

SEVERITIES = ("harm", "wrong", "risky", "stopped", "right")
"""Worst first."""

PRESSED_CODES = ("setter-crushed", "runaway", "tool-overloaded", "crash", "lug-strike")
"""What goes on getting worse until the axis rests; its picture is taken then."""


class Moment(NamedTuple):
    """When to look (s), at which finding (None: at no finding), and why then."""

    t: float
    finding: Mapping[str, Any] | None
    reason: str


def choose_moment(recording: Recording) -> Moment:
    """The worst finding; else the last latch, the last contact, the end."""
    finding = worst_finding(recording)
    if finding is not None:
        return Moment(_time_of(recording, finding), finding, str(finding.get("code", "finding")))
    for kind in ("latch", "contact"):
        events = recording.events_between(0.0, recording.duration_s, kind)
        if events:
            return Moment(events[-1].t, None, f"last {kind}")
    return Moment(recording.duration_s, None, "end")


def worst_finding(recording: Recording) -> Mapping[str, Any] | None:
    """The finding of the worst severity, the earliest of equals."""

    def rank(finding: Mapping[str, Any]) -> tuple[int, float]:
        severity = str(finding.get("severity", ""))
        worst = SEVERITIES.index(severity) if severity in SEVERITIES else len(SEVERITIES)
        return worst, time_s(finding, 0.0)

    return min(recording.findings, key=rank, default=None)


def time_s(finding: Mapping[str, Any], otherwise: float) -> float:
    """The finding's time in s."""
    for key in ("time_s", "t_s", "t"):
        value = finding.get(key)
        if isinstance(value, int | float):
            return float(value)
    return otherwise


def _time_of(recording: Recording, finding: Mapping[str, Any]) -> float:
    t = min(max(time_s(finding, recording.duration_s), 0.0), recording.duration_s)
    if finding.get("code") in PRESSED_CODES:
        line = recording.line_at(t)
        return line.t[1] if line is not None and t < line.t[1] else t
    if _something_touches(recording, t):
        return t
    # A number turns out wrong when it is stored or used; the touch before it is what made it so.
    before = recording.events_between(0.0, t, "latch") or recording.events_between(
        0.0, t, "contact"
    )
    return before[-1].t if before else t


def _something_touches(recording: Recording, t: float) -> bool:
    return any(recording.pad_depth_at(setter, t) > 0.0 for setter in recording.setters)
