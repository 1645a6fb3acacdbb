"""Demonstrations as plain data, moved, mirrored and rewritten in inch; their outcomes compared."""

from __future__ import annotations

from functools import cache
from typing import Any

from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

NAMES = library.names("demonstration")
AXES = "xyz"


@cache
def scenario_named(name: str) -> Scenario:
    """A demonstration, read once."""
    return load_scenario(library.path("demonstration", name))


@cache
def outcome_of(name: str) -> Outcome:
    """Its outcome, run once for all tests."""
    return Twin(scenario_named(name)).run_steps()


def run(data: dict[str, Any]) -> Outcome:
    """The outcome of a scenario given as its models' own data."""
    return Twin(Scenario.model_validate(data)).run_steps()


def _plus(holder: Any, key: Any, by: float) -> None:
    if holder.get(key) is not None:
        holder[key] += by


def _times(holder: Any, key: Any, by: float) -> None:
    if holder.get(key) is not None:
        holder[key] *= by


def _vector_plus(holder: dict[str, Any], key: str, by: tuple[float, ...]) -> None:
    if holder.get(key) is not None:
        holder[key] = tuple(a + b for a, b in zip(holder[key], by, strict=True))


def all_steps(data: dict[str, Any]) -> list[dict[str, Any]]:
    """Every step, those beside the others included."""
    return [*data["steps"], *(beside["step"] for beside in data["meanwhile"])]


def shifted(scenario: Scenario, by: tuple[float, float, float]) -> dict[str, Any]:
    """The same set-up with machine zero elsewhere: every position differs by ``by`` (mm)."""
    data = scenario.model_dump(by_alias=True)
    machine, table = data["machine"], data["machine"]["table"]
    counts_from_table = machine["habits"]["length_convention"] in ("table", "work")
    for axis, d in zip(AXES, by, strict=True):
        for key in ("min_mm", "max_mm", "home_mm"):
            machine["axes"][axis][key] += d
    table["centre_x_mm"] += by[0]
    table["centre_y_mm"] += by[1]
    table["top_z_mm"] += by[2]
    if machine["tool_change"]["z_mm"] is not None:
        machine["tool_change"]["z_mm"] += by[2]
    head = machine["links"][machine["head_link"]]
    for body in machine["bodies"]:
        link = machine["links"].get(body["link"], {})
        body["at_mm"] = tuple(
            at + (head.get(axis, 0) - link.get(axis, 0)) * d
            for axis, at, d in zip(AXES, body["at_mm"], by, strict=True)
        )
    for placement in data["placements"].values():
        _plus(placement, "x_mm", by[0])
        _plus(placement, "y_mm", by[1])
    _shift_belief(data["controller"], by, counts_from_table)
    for step in all_steps(data):
        _shift_step(step, by, counts_from_table)
    return data


def _shift_belief(start: dict[str, Any], by: tuple[float, ...], from_table: bool) -> None:
    _vector_plus(start, "position_mm", by)
    for record in start["records"].values():
        _plus(record, "x_mm", by[0])
        _plus(record, "y_mm", by[1])
        _plus(record, "clearance_z_mm", by[2])
        _plus(record, "reference_z_mm", by[2])
    z = 0.0 if from_table else by[2]
    for system in start["systems"]:
        _vector_plus(start["systems"], system, (by[0], by[1], z))
    if from_table:
        for row in start["rows"].values():
            _plus(row, "length_mm", by[2])


def _shift_step(step: dict[str, Any], by: tuple[float, ...], from_table: bool) -> None:
    if step["do"] == "place" or step.get("frame") == "machine":
        for axis, d in zip(AXES, by, strict=True):
            _plus(step, f"{axis}_mm", d)
    if step["do"] == "type-in":
        _plus(step, "clearance_z_mm", by[2])
        if step["system"] is not None:
            for axis, d in zip(AXES, by, strict=True):
                _plus(step, f"{axis}_mm", d)
        if from_table:
            _plus(step, "length_mm", by[2])
    for key in ("expected_pad_z_mm", "clearance_z_mm", "highest_z_mm", "face_on_block_z_mm"):
        _plus(step.get("with") or {}, key, by[2])


def mirrored(scenario: Scenario) -> dict[str, Any]:
    """The same set-up seen in a mirror that swaps left and right: X, lugs, edges, rotation."""
    data = scenario.model_dump(by_alias=True)
    machine = data["machine"]
    axis = machine["axes"]["x"]
    axis["min_mm"], axis["max_mm"] = -axis["max_mm"], -axis["min_mm"]
    axis["home_mm"] = -axis["home_mm"]
    machine["table"]["centre_x_mm"] *= -1
    for lug in machine["spindle"]["lugs"]:
        lug["angle_deg"] = 180.0 - lug["angle_deg"]
    _times(machine["spindle"], "orient_deg", -1)
    solids = [*machine["bodies"], *(p for s in data["stock"].values() for p in s["parts"])]
    for solid in solids:
        x, y, z = solid["at_mm"]
        a, b, c = solid["turn_deg"]
        solid["at_mm"], solid["turn_deg"] = (-x, y, z), (a, -b, -c)
    for setter in data["setter"].values():
        setter["tilt_axis_deg"] *= -1
    for placement in data["placements"].values():
        placement["x_mm"] *= -1
        placement["turn_deg"] *= -1
    for tool in data["tools"].values():
        tool["cuts"] = "left" if tool["cuts"] == "right" else "right"
        if tool["inserts"] and tool["inserts"]["axial_errors_um"]:
            errors = tool["inserts"]["axial_errors_um"]
            count = len(errors)
            assert count % 2 == 0, "an odd ring has no edge opposite its first"
            tool["inserts"]["axial_errors_um"] = tuple(
                errors[(count // 2 - i) % count] for i in range(count)
            )
    for key in ("position_error_mm", "homing_error_mm"):
        x, y, z = data["truth"][key]
        data["truth"][key] = (-x, y, z)
    start = data["controller"]
    start["spindle_angle_deg"] *= -1
    for key, holder in (("position_mm", start), *((s, start["systems"]) for s in start["systems"])):
        if holder.get(key) is not None:
            x, y, z = holder[key]
            holder[key] = (-x, y, z)
    for record in start["records"].values():
        _times(record, "x_mm", -1)
    for step in all_steps(data):
        _mirror_step(step)
    return data


def _mirror_step(step: dict[str, Any]) -> None:
    _times(step, "x_mm", -1)
    _times(step, "turn_deg", -1)
    _times(step, "to_deg", -1)
    _times(step, "rpm", -1)
    if step["do"] == "nudge":
        x, y, z = step["by_mm"]
        step["by_mm"] = (-x, y, z)
    elif step.get("axis") == "x":
        _times(step, "by_mm", -1)
        if "towards" in step:
            step["towards"] = "+" if step["towards"] == "-" else "-"
    arguments = step.get("with") or {}
    _times(arguments, "beside_x_mm", -1)
    if step.get("name") == "measure-length-turning":
        arguments["left_hand"] = not arguments.get("left_hand", False)


def in_inch(value: Any) -> Any:
    """A file's data with every length, speed and the like in inch; counts and times stay."""
    if isinstance(value, list):
        return [in_inch(item) for item in value]
    if not isinstance(value, dict):
        return value
    out = {}
    for key, item in value.items():
        for metric, inch in (("_mm", "_in"), ("_mm_per_min", "_in_per_min")):
            if key.endswith(metric) and not isinstance(item, str):
                key = key.removesuffix(metric) + inch
                item = [n / 25.4 for n in item] if isinstance(item, list) else item / 25.4
                break
        out[key] = in_inch(item)
    return out
