"""Putting values into a scenario: only the tables on the way are copied, and only they are checked.

A scenario is checked whole when it is read. Here each value has to fit its own field, and each
table that it changes has to be consistent in itself; where bodies move, what stands where is
checked again as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from pydantic import BaseModel

from drytouch.sim.scenario.checks import problems_in
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.vary_keys import Key, Refused, text_of

# What no body's shape or place depends on, by model and field; "*" is every field. All else moves
# bodies, so that a new field is slow at worst, never wrong.
BODILESS: dict[str, frozenset[str]] = {
    "Scenario": frozenset(
        {"truth", "tolerances", "steps", "meanwhile", "chance", "time_limit_s", "work_system"}
    ),
    "Machine": frozenset(
        {"servo", "emergency_stop", "absolute_encoders", "rapids", "sockets", "habits",
         "tool_change", "contact_stiffness_N_per_mm"}
    ),
    "Axis": frozenset(
        {"rapid_mm_per_min", "feed_max_mm_per_min", "acceleration_mm_per_s2", "jerk_mm_per_s3",
         "homing_mm_per_min", "screw_lead_mm", "moving_mass_kg", "rotor_inertia_kg_m2",
         "thrust_limit_N", "stiffness_N_per_mm", "following_error_limit_mm", "encoder_step_mm",
         "backlash_mm"}
    ),
    "Spindle": frozenset({"growth_mm", "growth_time_constant_s", "max_rpm"}),
    "Setter": frozenset(
        {"contact", "pre_travel_mm", "pre_travel_sigma_mm", "hysteresis_mm", "overtravel_mm",
         "preload_N", "rate_N_per_mm", "bounce_s", "bounce_pairs", "side_touch",
         "turning_allowed", "worst_edge_m_per_min", "mass_kg", "holding_force_N",
         "friction_static", "friction_kinetic", "link", "worst_feed_mm_per_min"}
    ),
    "Tool": frozenset({"force_limit_N", "coated", "cuts", "certified_length_mm"}),
    "ControllerStart": frozenset(
        {"drives_on", "homed", "slot", "length_offset_row", "rows", "systems", "system",
         "shift_mm", "units", "distance", "records", "plugs", "selected", "rapid_override",
         "feed_override", "spindle_warmth", "parameters"}
    ),
}  # fmt: skip


def moves_bodies(key: Key) -> bool:
    """Whether a body's shape or place may depend on this value."""
    return not any(field in BODILESS.get(owner.__name__, ()) for owner, field in key.owners)


class Change:
    """Several keys of one scenario, ready to take values again and again."""

    def __init__(self, scenario: Scenario, keys: Sequence[Key]) -> None:
        self._scenario = scenario
        self._keys = tuple(keys)
        self._tree: dict[str | int, Any] = {}
        for index, key in enumerate(keys):
            branch = self._tree
            for part in key.path[:-1]:
                branch = branch.setdefault(part, {})
            branch[key.path[-1]] = index

    def put(self, values: Sequence[Any], bodies: bool) -> Scenario:
        """The scenario with these values, each in its field's own unit.

        Raises:
            Refused: a field or a table can't take them; with ``bodies``, what stands where.
        """
        fit = [key.check(value) for key, value in zip(self._keys, values, strict=True)]
        changed: Scenario = _changed(self._scenario, self._tree, fit, ())
        if bodies:
            for problem in problems_in(changed):
                raise Refused(problem.message, text_of(problem.where), problem.fix)
        return changed


def _changed(
    here: Any, tree: dict[str | int, Any], values: Sequence[Any], path: tuple[str | int, ...]
) -> Any:
    new: dict[Any, Any] = {}
    for part, below in tree.items():
        if isinstance(below, int):
            new[part] = values[below]
        else:
            inner = getattr(here, str(part)) if isinstance(here, BaseModel) else here[part]
            new[part] = _changed(inner, below, values, (*path, part))
    if isinstance(here, BaseModel):
        copy = here.model_copy(update=new)
        for name in _checks_of(type(here)):
            try:
                getattr(copy, name)()
            except ValueError as error:
                raise Refused(str(error), text_of(path), "change one of the values named") from None
        return copy
    if isinstance(here, dict):
        return {**here, **new}
    entries = list(here)
    for index, value in new.items():
        entries[index] = value
    return tuple(entries)


@cache
def _checks_of(model: type[BaseModel]) -> tuple[str, ...]:
    """Names of a model's own checks of the whole table."""
    found = model.__pydantic_decorators__.model_validators.items()
    return tuple(name for name, decorator in found if decorator.info.mode == "after")
