"""What is the same in every run: a tilted pad, lost motion, growth, dirt. Each is taken away once.

The difference that it makes to a number, with ideal latches, is its part of the number's error.
"""

from __future__ import annotations

from collections.abc import Callable

from drytouch.sim.errors import DrytouchError
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.budget_probe import Probed, probe


def _level_pads(scenario: Scenario) -> Scenario:
    level = {
        name: setter.model_copy(update={"tilt_deg": 0.0})
        for name, setter in scenario.setter.items()
    }
    return scenario.model_copy(update={"setter": level})


def _no_lost_motion(scenario: Scenario) -> Scenario:
    machine = scenario.machine
    axes = {
        name: getattr(machine.axes, name).model_copy(update={"backlash_mm": 0.0})
        for name in ("x", "y", "z")
    }
    changed = machine.axes.model_copy(update=axes)
    return scenario.model_copy(update={"machine": machine.model_copy(update={"axes": changed})})


def _no_growth(scenario: Scenario) -> Scenario:
    machine = scenario.machine
    spindle = machine.spindle.model_copy(update={"growth_mm": 0.0})
    return scenario.model_copy(update={"machine": machine.model_copy(update={"spindle": spindle})})


def _clean(scenario: Scenario) -> Scenario:
    noise = scenario.truth.noise.model_copy(update={"dirt_um": 0.0})
    return scenario.model_copy(update={"truth": scenario.truth.model_copy(update={"noise": noise})})


def _true_position(scenario: Scenario) -> Scenario:
    zero = (0.0, 0.0, 0.0)
    truth = scenario.truth.model_copy(update={"position_error_mm": zero, "homing_error_mm": zero})
    return scenario.model_copy(update={"truth": truth})


def _true_blocks(scenario: Scenario) -> Scenario:
    blocks = {
        name: block.model_copy(update={"error_um": 0.0}) for name, block in scenario.blocks.items()
    }
    return scenario.model_copy(update={"blocks": blocks})


_TAKEN_AWAY: dict[str, Callable[[Scenario], Scenario]] = {
    "tilt of the pad": _level_pads,
    "lost motion": _no_lost_motion,
    "thermal growth": _no_growth,
    "dirt": _clean,
    "machine zero": _true_position,
    "size of gauge blocks": _true_blocks,
}


def fixed_causes(scenario: Scenario, plain: Probed) -> dict[str, dict[str, float]]:
    """How much of each number's error goes when each cause is taken away, mm."""
    found: dict[str, dict[str, float]] = {}
    for cause, take_away in _TAKEN_AWAY.items():
        without = take_away(scenario)
        if without == scenario:
            continue
        try:
            errors = probe(without).errors
        except DrytouchError:
            continue  # without it the steps can't be done: it can't be told apart
        found[cause] = {
            name: error - errors[name] for name, error in plain.errors.items() if name in errors
        }
    return found
