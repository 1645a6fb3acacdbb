"""Runs that the page's tests replay: a clean touch, and one whose signal goes astray."""

from __future__ import annotations

from functools import lru_cache

from twin_cases import CONTACT_Z, twin_of

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Question, Scenario
from drytouch.sim.twin.twin import Twin


def question(before: str = "latch") -> Question:
    return Question(
        before=before,
        ask="What stops the axis?",
        choices=("nothing", "the latch", "a hand"),
        answer=2,
        because="The input came on.",
    )


@lru_cache(maxsize=4)
def touched(feed: float = 200.0) -> tuple[Recording, Scenario]:
    """One touch of a clean small twin at ``feed`` mm/min."""
    twin = twin_of()

    def routine(controller):
        yield from controller.touch(z=CONTACT_Z - 5.0, feed_mm_per_min=feed)
        yield from controller.rapid(z=CONTACT_Z + 20.0, frame="machine")

    return Recording.from_outcome(twin.run(routine)), twin.scenario


@lru_cache(maxsize=4)
def demonstration(name: str) -> tuple[Recording, Scenario]:
    """A shipped demonstration, run."""
    scenario = load_scenario(name)
    return Recording.from_outcome(Twin(scenario).run_steps()), scenario
