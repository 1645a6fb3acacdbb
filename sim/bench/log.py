"""A session's log as a scenario, which replays to the same outcome."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from drytouch.sim.bench.live import Logged
from drytouch.sim.scenario.scenario import Expect, Scenario
from drytouch.sim.scenario.steps import Meanwhile, Wait


def scenario_of(
    base: Scenario, log: Iterable[Logged], end_s: float, verdict: str | None = None
) -> Scenario:
    """A scenario that waits while everything in the log happens beside it, at its own time.

    Beside, because a person can do several things at once, and goes on after an alarm.
    """
    done = tuple(
        Meanwhile(at_s=entry.at_s, step=_ended(entry, end_s))
        for entry in log
        if entry.at_s <= end_s
    )
    return base.model_copy(
        update={
            "name": f"{base.name or 'bench'}-session",
            "kind": "scenario",
            "exercise": None,
            "questions": (),
            "steps": (Wait(do="wait", for_s=max(end_s, 1e-6)),),
            "meanwhile": (*base.meanwhile, *done),
            "expect": None if verdict is None else Expect.model_validate({"verdict": verdict}),
            # A second more: what is done at the very end still has its first calls.
            "time_limit_s": end_s + 1.0,
        }
    )


def _ended(entry: Logged, end_s: float) -> Any:
    """A held key as a jog for as long; one that is still down stays down past the end."""
    if not entry.held:
        return entry.step
    until = end_s + 1.0 if entry.until_s is None else entry.until_s
    return entry.step.model_copy(update={"for_s": until - entry.at_s})
