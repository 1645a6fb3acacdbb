"""A scenario back to TOML, whole and self-contained, so that a session can be replayed."""

from __future__ import annotations

import json
import re
from typing import Any

from pydantic import BaseModel

from drytouch.sim.scenario.scenario import Scenario

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def scenario_to_toml(scenario: Scenario) -> str:
    """TOML that loads as an equal scenario; values that equal their defaults are left out.

    Parts are written out in full, files by absolute path.
    """
    return to_toml(plain(scenario))


def to_toml(data: dict[str, Any]) -> str:
    """TOML of dicts, lists, text and numbers."""
    lines: list[str] = []
    _table((), data, lines)
    return "\n".join(lines).strip() + "\n"


def plain(model: BaseModel) -> dict[str, Any]:
    """A model as dicts, lists, text and numbers, without defaults; "none" where TOML lacks null."""
    result: dict[str, Any] = {}
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        if not field.is_required() and value == field.get_default(call_default_factory=True):
            continue
        # Absent means the default; only "none" says that there is none.
        result[field.alias or name] = "none" if value is None else _plain(value)
    return result


def _plain(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return plain(value)
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def _table(path: tuple[str, ...], data: dict[str, Any], lines: list[str]) -> None:
    """Values first, then tables: whatever follows a header belongs to it."""
    tables = {key: value for key, value in data.items() if _needs_header(value)}
    for key, value in data.items():
        if key not in tables:
            lines.append(f"{_key(key)} = {_value(value)}")
    for key, value in tables.items():
        inner = (*path, key)
        name = ".".join(_key(part) for part in inner)
        for item in value if isinstance(value, list) else [value]:
            if isinstance(value, dict) and value and all(map(_needs_header, value.values())):
                _table(inner, value, lines)  # a header of its own would say nothing
                continue
            lines += ["", f"[[{name}]]" if isinstance(value, list) else f"[{name}]"]
            _table(inner, item, lines)


def _needs_header(value: Any) -> bool:
    if isinstance(value, dict):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, dict):
        pairs = ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items())
        return f"{{{pairs}}}"
    return repr(float(value)) if isinstance(value, float) else str(int(value))


def _text(value: str) -> str:
    # JSON's escapes are TOML's; only DEL has to be escaped as well.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
