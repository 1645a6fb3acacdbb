"""What a person does while a routine runs."""

from __future__ import annotations

from drytouch.sim.faults.change import plugged, standing, when, with_meanwhile
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import (
    EmergencyStopStep,
    FeedHold,
    Hand,
    Nudge,
    Override,
    PlugIn,
)

# The steps are fixed: built once, so that a fault costs a copy of the scenario and no more.
_STOP = EmergencyStopStep(do="e-stop")
_HOLD, _GO = FeedHold(do="feed-hold", on=True), FeedHold(do="feed-hold", on=False)
_IN = Hand(do="hand", inside=True, where="at the pad")
_OUT = Hand(do="hand", inside=False, where="at the pad")


@fault(
    "person",
    "The emergency stop is pressed in mid-touch",
    "Stop, store nothing, and take the reference again where the machine forgets it.",
)
def e_stop_mid_touch(scenario: Scenario, *, delay_s: float = 0.01) -> Scenario:
    """A noise frightens the operator the moment the tool meets the pad."""
    return with_meanwhile(_with_setter(scenario), when(_STOP, "contact", delay_s))


@fault(
    "person",
    "Feed hold is pressed in mid-touch",
    "Nothing is wrong with a hold: the touch must still latch where the pad trips.",
)
def hold_mid_touch(scenario: Scenario, *, hold_s: float = 2.0) -> Scenario:
    """Somebody asks a question, and the operator holds the feed for a moment."""
    if not scenario.machine.habits.touch_obeys_feed_hold:
        raise NotHere("a touch does not obey feed hold on this machine")
    return with_meanwhile(
        _with_setter(scenario), when(_HOLD, "contact"), when(_GO, "contact", hold_s)
    )


@fault(
    "person",
    "The feed override is turned up in mid-touch",
    "Touches that do not obey the override, or two that must agree.",
)
def override_up_mid_touch(scenario: Scenario, *, feed: float = 2.0) -> Scenario:
    """The touch seems slow to somebody, who turns the knob."""
    if not scenario.machine.habits.touch_obeys_override:
        raise NotHere("a touch does not obey the override on this machine")
    step = Override.model_construct(do="override", rapid=None, feed=feed)
    return with_meanwhile(_with_setter(scenario), when(step, "touch"))


@fault(
    "person",
    "A hand is put in while it moves",
    "Nothing that a routine does: a closed guard, and hands out unless the drives are off.",
    unseen=True,
)
def hand_put_in(scenario: Scenario, *, for_s: float = 1.0) -> Scenario:
    """A chip lies on the pad, and somebody wipes it off while the tool comes down."""
    return with_meanwhile(_with_setter(scenario), when(_IN, "touch"), when(_OUT, "touch", for_s))


@fault(
    "person",
    "The setter is knocked between two moves",
    "A search that ends a little below the expected trip, and two touches that must agree.",
)
def setter_knocked(
    scenario: Scenario,
    *,
    setter: str | None = None,
    by_x_mm: float = 1.0,
    by_z_mm: float = 0.0,
) -> Scenario:
    """A spanner slides off the vise and hits the setter while the routine is on its way."""
    name = standing(scenario, setter)
    step = Nudge.model_construct(do="nudge", item=name, by_mm=(by_x_mm, 0.0, by_z_mm))
    return with_meanwhile(scenario, when(step, "rapid"))


@fault(
    "person",
    "The plug is pulled in mid-touch",
    "A normally closed contact reads as on at once; a search that ends little below the trip.",
)
def plug_pulled_mid_touch(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """Somebody trips over the cable while the tool comes down."""
    name, _ = plugged(scenario, setter)
    step = PlugIn.model_construct(do="plug-in", setter=name, socket=None)
    return with_meanwhile(scenario, when(step, "touch", 0.1))


def _with_setter(scenario: Scenario) -> Scenario:
    if not scenario.setter:
        raise NotHere("there is no setter")
    return scenario
