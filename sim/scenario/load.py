"""Scenario files to models. Every mistake becomes one InputError: file, line, key, fix."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path as FilePath
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.checks import problems_in
from drytouch.sim.scenario.files import read_toml
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.messages import Problem, problem_from
from drytouch.sim.scenario.scenario import Block, Scenario, Stock
from drytouch.sim.scenario.schema import scenario_schema
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.sources import Sources
from drytouch.sim.scenario.tool import Tool
from drytouch.sim.scenario.units import Part, converted

__all__ = [
    "MODELS",
    "load_part",
    "load_scenario",
    "scenario_from_dict",
    "scenario_schema",
    "validated",
]

MODELS: dict[str, type[Part]] = {
    "machine": Machine,
    "setter": Setter,
    "tool": Tool,
    "stock": Stock,
    "block": Block,
}
# Where a scenario names several parts of a kind: key of the scenario -> kind.
_GROUPS = {"setter": "setter", "tools": "tool", "stock": "stock", "blocks": "block"}
_SHOWN = 5  # further errors listed; more would hide the first

ModelType = TypeVar("ModelType", bound=BaseModel)


def load_scenario(path_or_name: str | FilePath) -> Scenario:
    """A scenario from a file, or from the library by name.

    Raises:
        InputError: the file can't be read, or says something impossible.
    """
    path = _scenario_file(path_or_name)
    data, text = read_toml(path, "scenario")
    scenario = _build(data, Sources(str(path), text))
    return scenario if scenario.name else scenario.model_copy(update={"name": path.stem})


def scenario_from_dict(data: dict[str, Any], base_folder: str | FilePath = ".") -> Scenario:
    """A scenario from plain data, as if read from a file in ``base_folder``.

    Raises:
        InputError: the data says something impossible.
    """
    return _build(data, Sources("", "", FilePath(base_folder)))


def load_part(kind: str, name_or_path: str | FilePath) -> Any:
    """A machine, setter, tool, stock or block, by library name or from a file.

    Raises:
        InputError: no such part, or it says something impossible.
    """
    if kind not in MODELS:
        raise InputError(f"unknown kind of part '{kind}'", fix=f"use one of: {', '.join(MODELS)}")
    if _is_path(str(name_or_path)):
        return _read_part(kind, FilePath(name_or_path))
    library.path(kind, str(name_or_path))  # raises for an unknown name
    return _library_part(kind, str(name_or_path))


def _scenario_file(path_or_name: str | FilePath) -> FilePath:
    text = str(path_or_name)
    if isinstance(path_or_name, FilePath) or _is_path(text) or FilePath(text).exists():
        return FilePath(path_or_name)
    return library.path("scenario", text)


def _is_path(text: str) -> bool:
    return "/" in text or "\\" in text or text.endswith(".toml")


@lru_cache(maxsize=256)
def _library_part(kind: str, name: str) -> Any:
    # Models are frozen, so one object may serve every scenario of the process.
    return _read_part(kind, library.path(kind, name))


def _read_part(kind: str, path: FilePath) -> Any:
    data, text = read_toml(path, kind)
    sources = Sources(str(path), text)
    merged = _with_base(kind, data, (), sources)
    merged.setdefault("name", path.stem)
    sources.resolve_files(merged)
    return validated(MODELS[kind], merged, sources)


def _with_base(
    kind: str,
    data: dict[str, Any],
    where: tuple[str | int, ...],
    sources: Sources,
    seen: tuple[str, ...] = (),
) -> dict[str, Any]:
    """``data`` merged over the part that its ``use`` names."""
    if "use" not in data:
        return dict(data)
    use = data["use"]
    path = _part_file(kind, use, (*where, "use"), sources)
    if str(path) in seen:
        raise sources.error(Problem((*where, "use"), f"'{use}' uses itself", "end the circle"))
    base, text = read_toml(path, kind)
    base_sources = Sources(str(path), text)
    base = _with_base(kind, base, (), base_sources, (*seen, str(path)))
    rest = {key: value for key, value in data.items() if key != "use"}
    return sources.merge(where, base, base_sources, rest)


def _part_file(kind: str, name: Any, where: tuple[str | int, ...], sources: Sources) -> FilePath:
    if not isinstance(name, str):
        raise sources.error(Problem(where, f"expected the name of a {kind}, not {name!r}"))
    if _is_path(name):
        path = sources.folder(where) / name
        if not path.is_file():
            raise sources.error(
                Problem(
                    where,
                    f"there is no {kind} file {path}",
                    "check the path: it starts from the folder of the file that names it",
                )
            )
        return path
    try:
        return library.path(kind, name)
    except InputError as error:
        raise sources.error(Problem(where, error.message, error.fix)) from None


def _part(kind: str, value: Any, where: tuple[str | int, ...], sources: Sources) -> Any:
    """A named part as its model; a table as data, merged over what it uses."""
    if isinstance(value, str):
        path = _part_file(kind, value, where, sources)
        return _read_part(kind, path) if _is_path(value) else _library_part(kind, value)
    if isinstance(value, dict):
        return _with_base(kind, value, where, sources)
    return value


def _group(key: str, kind: str, value: Any, sources: Sources) -> Any:
    """Several parts of a kind as ``{name: part}``, from any of the forms that a file may use."""
    if isinstance(value, str) or (isinstance(value, dict) and _is_one(kind, value)):
        sources.move((key,), (key, key))
        value = {key: value}
    elif isinstance(value, list):
        value = _listed(key, kind, value, sources)
    if not isinstance(value, dict):
        raise sources.error(
            Problem((key,), f"expected a name, a list of names or a table, not {value!r}")
        )
    parts = {}
    for name, item in value.items():
        part = _part(kind, item, (key, name), sources)
        if isinstance(part, dict):
            part.setdefault("name", name)
        parts[name] = part
    return parts


def _is_one(kind: str, value: dict[str, Any]) -> bool:
    """Whether a table is one part itself, not several parts by name."""
    fields = set(MODELS[kind].model_fields)
    try:
        keys = set(converted(value, fields))
    except ValueError:
        return True
    return "use" in keys or any(
        key in fields and not isinstance(value.get(key), dict) for key in keys
    )


def _listed(key: str, kind: str, items: list[Any], sources: Sources) -> dict[str, Any]:
    named: dict[str, Any] = {}
    for index, item in enumerate(items):
        if isinstance(item, str):
            name = FilePath(item).stem if _is_path(item) else item
        elif isinstance(item, dict) and isinstance(item.get("name", item.get("use")), str):
            name = item.get("name") or FilePath(item["use"]).stem
        else:
            raise sources.error(
                Problem((key, index), f"expected the name of a {kind}, or a table with a name")
            )
        if name in named:
            raise sources.error(
                Problem((key, index), f"'{name}' is listed twice", "give one another name")
            )
        sources.move((key, index), (key, name))
        named[name] = item
    return named


def _build(raw: dict[str, Any], sources: Sources) -> Scenario:
    data = dict(raw)
    if "machine" in data:
        data["machine"] = _part("machine", data["machine"], ("machine",), sources)
    for key, kind in _GROUPS.items():
        if key in data:
            data[key] = _group(key, kind, data[key], sources)
    sources.resolve_files(data)
    scenario = validated(Scenario, data, sources)
    _raise_all(list(dict.fromkeys(problems_in(scenario))), sources)
    return scenario


def validated(model: type[ModelType], data: dict[str, Any], sources: Sources) -> ModelType:
    """The model of plain data.

    Raises:
        InputError: it says something impossible; names file, key and line.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        # A list with a wrong entry counts as too short as well: say only what is wrong with it.
        entries = error.errors()
        found = [
            problem_from(model, data, dict(entry))
            for entry in entries
            if entry["type"] != "too_short"
            or not any(_below(other["loc"], entry["loc"]) for other in entries)
        ]
    _raise_all(found, sources)
    raise AssertionError("a ValidationError without errors")


def _below(inner: tuple[int | str, ...], outer: tuple[int | str, ...]) -> bool:
    return len(inner) > len(outer) and inner[: len(outer)] == outer


def _raise_all(found: list[Problem], sources: Sources) -> None:
    """Raise the first problem, with the others listed below its message."""
    if not found:
        return
    errors = [sources.error(problem) for problem in found]
    errors.sort(key=lambda error: (error.file != sources.file, error.line))
    first, others = errors[0], errors[1:]
    lines = [f"\n  also {str(other).splitlines()[0]}" for other in others[:_SHOWN]]
    if len(others) > _SHOWN:
        lines.append(f"\n  and {len(others) - _SHOWN} more")
    raise InputError(first.message + "".join(lines), first.file, first.key, first.line, first.fix)
