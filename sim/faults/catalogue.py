"""All faults by name; putting one or several of them into a scenario."""

from __future__ import annotations

from typing import Any

from drytouch.sim.errors import StepError
from drytouch.sim.faults import data, machine, person, setter, tool, wiring
from drytouch.sim.faults.change import with_meanwhile
from drytouch.sim.faults.entry import ENTRIES, GROUPS, FaultEntry
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import FaultStep, Meanwhile

# Loading a room enters its faults; naming the rooms keeps them from being dropped as unused.
ROOMS = (wiring, setter, machine, tool, data, person)
FAULTS: dict[str, FaultEntry] = {
    entry.name: entry for group in GROUPS for entry in ENTRIES.values() if entry.group == group
}


def fault_named(name: str) -> FaultEntry:
    """The entry of this name; underscores and hyphens mean the same.

    Raises:
        StepError: the catalogue has none; the nearest one is named.
    """
    entry = FAULTS.get(name.replace("_", "-"))
    if entry is None:
        raise StepError(f"there is no fault '{name}'", nearest(name, list(FAULTS)))
    return entry


def faulty(scenario: Scenario, *names: str, **arguments: Any) -> Scenario:
    """The scenario with these faults in it, one after another; figures belong to a single one.

    Raises:
        NotHere: one of them has no effect in this scenario.
        StepError: an unknown name or argument, or arguments with several names.
    """
    if arguments and len(names) != 1:
        raise StepError("arguments belong to one fault", "put the faults in one after another")
    for name in names:
        scenario = fault_named(name)(scenario, **arguments)
    return scenario


def with_faults(scenario: Scenario) -> Scenario:
    """A scenario with its own ``[[faults]]`` put in, and that list emptied: ready to be built.

    Raises:
        NotHere: one of them has no effect here.
        StepError: an unknown name or argument.
    """
    listed = scenario.faults
    if not listed:
        return scenario
    changed = scenario
    for entry in listed:
        changed = fault_named(entry.name)(changed, **entry.arguments)
    return changed.model_copy(update={"faults": ()})


def begins(
    scenario: Scenario,
    name: str,
    *,
    at_s: float | None = None,
    after: str | None = None,
    nth: int = 1,
    delay_s: float = 0.0,
    **arguments: Any,
) -> Scenario:
    """The scenario with a fault that begins at a time, or some time after an event.

    ``after`` is one of contact, close, touch, rapid, alarm. Whether the fault has an effect shows
    when it begins.

    Raises:
        StepError: an unknown name or argument.
    """
    fault_named(name).check(arguments)
    step = FaultStep.model_validate({"do": "fault", "name": name, "with": arguments})
    happening = Meanwhile.model_validate(
        {"at_s": at_s, "after": after, "nth": nth, "delay_s": delay_s, "step": step}
    )
    return with_meanwhile(scenario, happening)
