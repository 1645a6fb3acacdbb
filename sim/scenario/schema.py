"""JSON Schema of scenario and part files, with short forms and choice of units, for editors."""

from __future__ import annotations

from typing import Any

from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.units import Part, split_unit, suffixes_like

_NAME = {"type": "string", "description": "a part of the library, or a path to a file"}
# Key of a scenario -> the model that its short forms stand for.
_GROUPS = {"setter": "Setter", "tools": "Tool", "stock": "Stock", "blocks": "Block"}


def scenario_schema() -> dict[str, Any]:
    """What a scenario file may hold, as JSON Schema (draft 2020-12)."""
    schema = _with_units(Scenario)
    properties = schema["properties"]
    properties["machine"] = _part("Machine")
    for key, model in _GROUPS.items():
        one = _part(model)
        several = {"type": "object", "additionalProperties": one}
        listed = {"type": "array", "items": one}
        properties[key] = {"anyOf": [one, several, listed]}
    return schema


def part_schema(model: type[Part]) -> dict[str, Any]:
    """What the file of a part may hold, as JSON Schema; ``use`` builds on another part."""
    schema = _with_units(model)
    schema["properties"]["use"] = _NAME
    whole = {key: schema.pop(key) for key in ("required", "allOf") if key in schema}
    return schema | {"anyOf": [{"required": ["use"]}, whole]} if whole else schema


def _with_units(model: type[Part]) -> dict[str, Any]:
    schema = model.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    for definition in (*schema.get("$defs", {}).values(), schema):
        _allow_units(definition)
    return schema


def _part(model: str) -> dict[str, Any]:
    """A part by name, in full, or as changes on top of a named one."""
    changed = {"type": "object", "required": ["use"], "properties": {"use": _NAME}}
    return {"anyOf": [_NAME, {"$ref": f"#/$defs/{model}"}, changed]}


def _allow_units(definition: dict[str, Any]) -> None:
    """Let each key with a unit be written in the other units of its family."""
    properties = definition.get("properties", {})
    for described in properties.values():
        _say_none(described)
    required = definition.get("required", [])
    for name, described in list(properties.items()):
        parts = split_unit(name)
        if parts is None:
            continue
        keys = [f"{parts[0]}_{suffix}" for suffix in suffixes_like(parts[1])]
        for key in keys:
            # A limit or default counts in the field's own unit only.
            properties.setdefault(key, _without_numbers(described))
        if name in required:
            required.remove(name)
            choice = {"anyOf": [{"required": [key]} for key in keys]}
            definition.setdefault("allOf", []).append(choice)
    if "required" in definition and not required:
        del definition["required"]


def _say_none(described: dict[str, Any]) -> None:
    """TOML knows no null: a number that may be absent is written "none" there."""
    options = described.get("anyOf", [])
    if any(option.get("type") in ("number", "integer") for option in options):
        described["anyOf"] = [
            {"const": "none"} if option == {"type": "null"} else option for option in options
        ]


def _without_numbers(described: Any) -> Any:
    """The same description without limits whose size depends on the unit; signs stay."""
    if isinstance(described, list):
        return [_without_numbers(item) for item in described]
    if not isinstance(described, dict):
        return described
    limits = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
    return {
        key: _without_numbers(value)
        for key, value in described.items()
        if key not in ("default", "title") and not (key in limits and value != 0)
    }
