"""From pydantic's account of what is wrong to one sentence and one fix that a user can act on."""

from __future__ import annotations

import re
from typing import Any, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel

from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.lines import Path


class Problem(NamedTuple):
    """One thing that is wrong: where in the data, what, and what to do about it."""

    where: Path
    message: str
    fix: str = ""


def problem_from(model: type[BaseModel], data: Any, error: dict[str, Any]) -> Problem:
    """Translate one entry of ``ValidationError.errors()`` for ``data`` read as ``model``."""
    where = _plain(error["loc"], data)
    kind, context, given = error["type"], error.get("ctx", {}), error.get("input")
    if kind == "extra_forbidden":
        owner = model_at(model, where[:-1], data)
        choices = _keys(owner) if owner else []
        return Problem(where, f"unknown key '{where[-1]}'", nearest(str(where[-1]), choices))
    if kind == "missing" and isinstance(where[-1], int):
        message = f"entry {where[-1] + 1} of the list is missing"
        return Problem(where[:-1], message, "write every entry")
    if kind == "missing":
        owner = model_at(model, where[:-1], data)
        return Problem(where, f"'{where[-1]}' is missing", _how_to_add(owner, str(where[-1])))
    if kind == "union_tag_not_found":
        return Problem(where, "'do' is missing", 'say what the step does, as in do = "jog"')
    if kind in ("union_tag_invalid", "literal_error", "enum"):
        return _not_a_choice(where, kind, context, given)
    if kind == "value_error":
        return _own_words(where, data, str(context.get("error", error["msg"])))
    if kind == "finite_number":
        return Problem(where, f"expected a finite number, not {given}", "write an ordinary number")
    message = f"{_expectation(kind, context, error['msg'])}, not {_shown(given)}"
    return Problem(where, message, _fix_of(model, where, data))


def _plain(location: tuple[str | int, ...], data: Any) -> Path:
    """A location without pydantic's own marks (a step's kind, '[key]')."""
    path: list[str | int] = []
    here = data
    for part in location:
        if part == "[key]":
            continue
        if isinstance(here, dict):
            if part not in here and here.get("do") == part:
                continue
            here = here.get(part)
        elif isinstance(here, list | tuple) and isinstance(part, int) and part < len(here):
            here = here[part]
        else:
            here = None
        path.append(part)
    return tuple(path)


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return str(list(value)) if len(value) <= 6 else f"a list of {len(value)}"
    return f'"{value}"' if isinstance(value, str) else str(value)


_EXPECTED = {
    "float_type": "expected a number",
    "float_parsing": "expected a number",
    "int_type": "expected a whole number",
    "int_parsing": "expected a whole number",
    "int_from_float": "expected a whole number",
    "bool_type": "expected true or false",
    "bool_parsing": "expected true or false",
    "string_type": "expected text",
    "dict_type": "expected a table",
    "model_type": "expected a table",
    "model_attributes_type": "expected a table",
    "tuple_type": "expected a list",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be at least {ge}",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be at most {le}",
    "too_short": "needs at least {min_length} entries",
    "too_long": "takes at most {max_length} entries",
}


def _expectation(kind: str, context: dict[str, Any], otherwise: str) -> str:
    pattern = _EXPECTED.get(kind)
    if pattern is None:
        return otherwise[:1].lower() + otherwise[1:]
    plain = {k: f"{v:g}" if isinstance(v, int | float) else v for k, v in context.items()}
    return pattern.format(**plain)


def _not_a_choice(where: Path, kind: str, context: dict[str, Any], given: Any) -> Problem:
    if kind == "union_tag_invalid":
        choices = re.findall(r"'([^']+)'", str(context["expected_tags"]))
        tag = str(context["tag"])
        return Problem((*where, "do"), f"unknown step '{tag}'", nearest(tag, choices))
    text = str(context["expected"])
    choices = re.findall(r"'([^']*)'", text) or re.findall(r"-?\d+", text)
    message = f"expected one of {', '.join(choices)}, not {_shown(given)}"
    fix = nearest(given, choices) if isinstance(given, str) else f"write {choices[0]}"
    return Problem(where, message, fix)


def _own_words(where: Path, data: Any, message: str) -> Problem:
    """An error that one of our own validators raised; it names the key in quotation marks."""
    found = re.match(r"'([^']+)'", message)
    here = data
    for part in where:
        if isinstance(here, list | tuple) and isinstance(part, int):
            here = here[part]
        else:
            here = here.get(part) if isinstance(here, dict) else None
    if found and isinstance(here, dict) and found.group(1) in here:
        return Problem((*where, found.group(1)), message, "correct this key")
    missing = re.fullmatch(r"a \w+ needs (\w+)", message)
    fix = f"add {missing.group(1)}" if missing else "change one of the values named"
    return Problem(where, message, fix)


def _how_to_add(owner: type[BaseModel] | None, name: str) -> str:
    field = owner.model_fields.get(name) if owner else None
    about = f" ({field.description})" if field and field.description else ""
    return f"add {name}{about}"


def _fix_of(model: type[BaseModel], where: Path, data: Any) -> str:
    owner = model_at(model, where[:-1], data) if where else None
    field = owner.model_fields.get(str(where[-1])) if owner else None
    if field and field.description:
        return f"{where[-1]}: {field.description}"
    return f"write {where[-1]} as the message says" if where else "write a table"


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def model_at(model: type[BaseModel], where: Path, data: Any) -> type[BaseModel] | None:
    """The model class that describes the table at ``where``; None where there is none."""
    annotation: Any = model
    here = data
    for part in where:
        annotation = _inside(annotation, part, here)
        if isinstance(here, list | tuple) and isinstance(part, int):
            here = here[part] if part < len(here) else None
        else:
            here = here.get(part) if isinstance(here, dict) else None
    return _choose(annotation, here)


def _inside(annotation: Any, part: str | int, here: Any) -> Any:
    """The annotation of one entry of what ``annotation`` describes."""
    owner = _choose(annotation, here)
    if owner is not None:
        for name, field in owner.model_fields.items():
            if part in (name, field.alias):
                return field.annotation
        return None
    arguments = get_args(annotation)
    if get_origin(annotation) is dict:
        return arguments[1]
    return arguments[0] if get_origin(annotation) in (tuple, list) else None


def _choose(annotation: Any, here: Any) -> type[BaseModel] | None:
    """The one model among the options of ``annotation`` that ``here`` is meant for."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (tuple, list, dict):
        return None
    tag = here.get("do") if isinstance(here, dict) else None
    for option in _options(annotation):
        if isinstance(option, type) and issubclass(option, BaseModel):
            do = option.model_fields.get("do")
            if do is None or tag in get_args(do.annotation):
                return option
    return None


def _options(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Union or type(annotation).__name__ == "UnionType":
        return [inner for option in get_args(annotation) for inner in _options(option)]
    if hasattr(annotation, "__metadata__"):
        return _options(get_args(annotation)[0])
    return [annotation]
