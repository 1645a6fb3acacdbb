"""When a question stops a replay: one answer for pages, movies and handouts."""

from __future__ import annotations

import re
from typing import NamedTuple

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.scenario import Question, Scenario
from drytouch.viz.moment import choose_moment, time_s

BEFORE_S = 0.4
"""A question without an earlier touch to stop at stops this long before its finding."""

AFTER_S = 1e-6
"""A stop just after an event: what it did is to be seen."""

UNSEEN_S = 0.15
"""A trigger that never comes shows by what the pad does meanwhile: the wait for it is shown."""

TOUCHES = ("contact", "close")
"""What may have happened already when a question about its consequence is asked."""

OF_A_WAY = ("low-clearance",)
"""Told when the way is laid out; to be seen when it has been gone."""

OF_A_RESULT = ("wrong-number",)
"""Told when the number is used or the run ends; to be seen where it was touched."""


class Stop(NamedTuple):
    """When to ask, s of the run, and when the answer has been seen."""

    ask: float
    tell: float


def asked_in(recording: Recording, scenario: Scenario | None = None) -> tuple[Question, ...]:
    """The questions of the scenario that was run; without it, those that the recording carries."""
    if scenario is not None:
        return scenario.questions
    rows = recording.scenario.get("questions") or ()
    return tuple(Question.model_validate(dict(row)) for row in rows)


def stop_time(recording: Recording, before: str) -> float:
    """When to stop for a question (s): before a finding, or at a time such as "3.2 s".

    A finding that grows out of a touch is asked about when the touch has begun and, where it
    has, the contact has acted; one that is the touch itself, shortly before it; one about the room
    on a way, at the end of that way; one about a number, when its last touch stands still.

    Raises:
        InputError: ``before`` is neither.
    """
    return stop_of(recording, before).ask


def stop_of(recording: Recording, before: str) -> Stop:
    """When to ask and when the answer is there; as ``stop_time``, with its error."""
    end = recording.duration_s
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*s\s*", before)
    if found:
        ask = min(float(found.group(1)), end)
        return Stop(ask, ask)
    at = _decisive(recording, before)
    if before in OF_A_WAY:
        line = recording.line_at(at)
        gone = at if line is None else max(line.t[1] - AFTER_S, at)
        return Stop(min(gone, end), min(gone, end))
    if before in OF_A_RESULT:
        stands = _last_stand(recording, at)
        if stands is not None:
            return Stop(stands, at)
    line = recording.line_at(max(at - AFTER_S, 0.0))
    starts = line.t[0] if line is not None else 0.0
    touched = [e.t for e in recording.events_between(starts, at - AFTER_S) if e.kind in TOUCHES]
    if not touched:
        return Stop(max(at - BEFORE_S, starts, 0.0), at)
    ask = touched[-1] + AFTER_S
    if not recording.events_between(touched[-1], at, "latch"):
        ask = min(touched[-1] + UNSEEN_S, (touched[-1] + at) / 2)
    return Stop(ask, at)


def _decisive(recording: Recording, before: str) -> float:
    if not before.strip():
        return choose_moment(recording).t
    times = [time_s(f, 0.0) for f in recording.findings if f.get("code") == before]
    times += [event.t for event in recording.events if event.kind == before]
    if not times and re.fullmatch(r"[a-z]+(-[a-z]+)*", before):
        # The run went another way than the question's author expected.
        return choose_moment(recording).t
    if not times:
        raise InputError(
            f"a question's stop is {before!r}",
            key="questions.before",
            fix='give a finding\'s code, or a time such as "3.2 s"',
        )
    # Of several ways, the last told at the start is the one that leads to the pad.
    return max(times) if before in OF_A_WAY else min(times)


def _last_stand(recording: Recording, at: float) -> float | None:
    """When the axis last came to rest on a pad before ``at``, s; None without a touch."""
    touches = recording.events_between(0.0, at, "latch")
    if not touches:
        return None
    line = recording.line_at(touches[-1].t)
    return touches[-1].t if line is None else min(line.t[1], at)
