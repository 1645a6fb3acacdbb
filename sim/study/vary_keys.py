"""Keys with dots to values inside a scenario, with units as suffixes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any, NamedTuple, get_args

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.messages import problem_from
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.units import FAMILIES, split_unit

# Text that is told, and names under which things are found: nothing depends on chance in them.
_NOT_VARIED = frozenset(
    {"name", "title", "story", "watch_for", "source", "note", "questions", "expect", "do", "file"}
)
_NOT_OF_SCENARIO = frozenset({"kind", "display", "seed", "faults"})
Path = tuple[str | int, ...]


class Refused(Exception):
    """A value that the scenario can't take; becomes an ``InputError`` where it matters."""

    def __init__(self, message: str, key: str = "", fix: str = "") -> None:
        super().__init__(message, key, fix)
        self.message, self.key, self.fix = message, key, fix


@dataclass(frozen=True)
class Key:
    """One value of a scenario: ``path`` to it; typed values times ``factor`` are in its own unit.

    ``owner`` and ``field`` are the model class and the field that hold it; ``owners`` are all
    model fields on the way, from the scenario down.
    """

    name: str
    path: Path
    owners: tuple[tuple[type[BaseModel], str], ...]
    factor: float
    now: Any

    @property
    def info(self) -> FieldInfo:
        """The field that holds the value, or the table or list that it stands in."""
        owner, field = self.owners[-1]
        return owner.model_fields[field]

    @property
    def direct(self) -> bool:
        """Whether the field holds the value itself, not a list or a table of them."""
        return self.path[-1] == self.owners[-1][1]

    @cached_property
    def whole(self) -> bool:
        """Whether only whole numbers fit."""
        options = set(get_args(self.info.annotation)) or {self.info.annotation}
        return self.direct and int in options and float not in options

    @cached_property
    def _adapter(self) -> TypeAdapter[Any]:
        kind: Any = self.info.annotation
        for limit in self.info.metadata:
            kind = Annotated[kind, limit]
        return TypeAdapter(kind, config=ConfigDict(allow_inf_nan=False, strict=False))

    def check(self, value: Any) -> Any:
        """The value as the field keeps it.

        Raises:
            Refused: the field can't hold it.
        """
        if not self.direct:
            if isinstance(value, bool | str) and isinstance(self.now, float):
                raise Refused(f"expected a number, not {value}", self.name, "write a number")
            return value
        numbers = set(get_args(self.info.annotation)) or {self.info.annotation}
        if isinstance(value, bool | str) and numbers & {int, float} and not numbers & {bool, str}:
            raise Refused(f"expected a number, not {value}", self.name, "write a number")
        try:
            return self._adapter.validate_python(value)
        except ValidationError as error:
            owner, field = self.owners[-1]
            entry = dict(error.errors()[0])
            entry["loc"] = (field,)
            problem = problem_from(owner, {field: value}, entry)
            raise Refused(problem.message, self.name, problem.fix) from None


def text_of(path: Path) -> str:
    """A path as it is typed: ``steps#1.with.row``."""
    text = ""
    for part in path:
        text += f"#{part + 1}" if isinstance(part, int) else f".{part}" if text else part
    return text


def resolve(scenario: Scenario, typed: str) -> Key | None:
    """The value that ``typed`` names, or None.

    Raises:
        InputError: the key ends in a unit of another family than the value has.
    """
    return _down(scenario, typed, _Way(typed))


class _Way(NamedTuple):
    """How far a key has been followed."""

    typed: str
    path: Path = ()
    shown: Path = ()
    owners: tuple[tuple[type[BaseModel], str], ...] = ()
    factor: float = 1.0


def _down(here: Any, rest: str, way: _Way) -> Key | None:
    for name, after, factor in _steps(here, rest, way.typed):
        shown: str | int = name
        owners = way.owners
        if isinstance(here, BaseModel):
            field = type(here).model_fields[str(name)]
            shown, owners = field.alias or name, (*owners, (type(here), str(name)))
            value = getattr(here, str(name))
        else:
            value = here[name]
            shown = str(name) if isinstance(here, dict) else name  # rows have numbers as names
        on = _Way(way.typed, (*way.path, name), (*way.shown, shown), owners, way.factor * factor)
        if isinstance(value, BaseModel | dict | tuple | list):
            found = _down(value, after, on) if after else None
            if found is not None:
                return found
        elif not after:
            return Key(text_of(on.shown), on.path, owners, on.factor, value)
    return None


def _steps(here: Any, rest: str, typed: str) -> Iterator[tuple[str | int, str, float]]:
    """Ways to go on: part of the path, what is left of the key, factor to the own unit."""
    if isinstance(here, tuple | list):
        number, after = _head(rest[1:])
        if rest.startswith("#") and number.isdigit() and 1 <= int(number) <= len(here):
            yield int(number) - 1, after, 1.0
    elif isinstance(here, dict):
        # Names in tables may have dots of their own (G59.1): the longest that fits first.
        for name in sorted(here, key=lambda name: -len(str(name))):
            if rest == str(name) or rest.startswith((f"{name}.", f"{name}#")):
                yield name, rest[len(str(name)) :].removeprefix("."), 1.0
    else:
        head, after = _head(rest)
        model = type(here)
        for name in _fields(model):
            if head in (name, model.model_fields[name].alias):
                yield name, after, 1.0
        found = _in_other_unit(model, head, typed)
        if found is not None:
            yield found[0], after, found[1]


def _fields(model: type[BaseModel]) -> list[str]:
    left = _NOT_VARIED | _NOT_OF_SCENARIO if model is Scenario else _NOT_VARIED
    return [name for name in model.model_fields if name not in left]


def _head(rest: str) -> tuple[str, str]:
    for index, letter in enumerate(rest):
        if letter in ".#" and index:
            return rest[:index], rest[index:].removeprefix(".")
    return rest, ""


def _in_other_unit(model: type[BaseModel], head: str, typed: str) -> tuple[str, float] | None:
    said = split_unit(head)
    if said is None or head in model.model_fields:
        return None
    for name in model.model_fields:
        own = split_unit(name)
        if own is not None and own[0] == said[0]:
            for family, sizes in FAMILIES.items():
                if own[1] in sizes:
                    if said[1] not in sizes:
                        raise InputError(
                            f"'{typed}' ends in {said[1]}, which is no unit of {family}",
                            key="--vary",
                            fix=f"write {name}, or end it in one of: {', '.join(sizes)}",
                        )
                    return name, sizes[said[1]] / sizes[own[1]]
    return None


def known_keys(scenario: Scenario) -> list[str]:
    """Every key of the scenario that can vary, as it is typed."""
    return [text_of(path) for path in _leaves(scenario, ())]


def _leaves(here: Any, path: Path) -> Iterator[Path]:
    if isinstance(here, BaseModel):
        for name in _fields(type(here)):
            shown = type(here).model_fields[name].alias or name
            yield from _leaves(getattr(here, name), (*path, shown))
    elif isinstance(here, dict):
        for name, value in here.items():
            yield from _leaves(value, (*path, str(name)))
    elif isinstance(here, tuple | list):
        for index, value in enumerate(here):
            yield from _leaves(value, (*path, index))
    else:
        yield path
