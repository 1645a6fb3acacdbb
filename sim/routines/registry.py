"""The built-in routines by name, for steps, the command line and the bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from inspect import Parameter, signature
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError
from drytouch.sim.routines.height import measure_setter_height, note_face_on_block
from drytouch.sim.routines.lengths import (
    measure_length,
    measure_length_here,
    measure_length_turning,
    recheck_length,
)
from drytouch.sim.routines.place import locate_setter, set_clearance
from drytouch.sim.routines.proving import prove_input, ten_touch_repeatability
from drytouch.sim.routines.reference import reference_by_face, reference_by_master
from drytouch.sim.routines.touching import Calls
from drytouch.sim.routines.work import set_work_z

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller

# Units by the last part of an argument's name; an argument without one has none.
_UNITS = {"mm": "mm", "s": "s", "min": "mm/min", "rpm": "1/min", "deg": "degrees"}


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a routine: ``kind`` as annotated, ``unit`` from its name, its default."""

    name: str
    kind: str
    unit: str
    required: bool
    default: Any = None


@dataclass(frozen=True, slots=True)
class Routine:
    """A built-in routine. ``call`` makes the generator to run."""

    name: str
    function: Callable[..., Calls]

    @property
    def summary(self) -> str:
        """First sentence of what the routine says of itself."""
        text = " ".join((self.function.__doc__ or "").split("\n\n")[0].split())
        return text.partition("; ")[0].rstrip(".") + "."

    @property
    def guide(self) -> str:
        """All that the routine says of itself."""
        lines = (self.function.__doc__ or "").strip().splitlines()
        return "\n".join(line.removeprefix("    ") for line in lines)

    @property
    def arguments(self) -> tuple[Argument, ...]:
        """What it takes beside the controller, in order."""
        return _arguments(self.function)

    def call(self, controller: Controller, arguments: Mapping[str, Any] | None = None) -> Calls:
        """The routine's calls with these arguments, checked before anything moves.

        Raises:
            StepError: an argument is unknown, missing or of the wrong kind; it is named.
        """
        given = dict(arguments or {})
        self.check(given)
        return self.function(controller, **given)

    def check(self, arguments: Mapping[str, Any]) -> None:
        """Raise ``StepError`` unless the routine can be called with these arguments."""
        known = {argument.name: argument for argument in self.arguments}
        for name, value in arguments.items():
            if name not in known:
                raise StepError(
                    f"routine '{self.name}' takes no argument '{name}'",
                    f"{_nearest(name, list(known))}it takes {', '.join(known) or 'none'}",
                )
            _check_kind(self.name, known[name], value)
        for argument in known.values():
            if argument.required and argument.name not in arguments:
                unit = f" in {argument.unit}" if argument.unit else ""
                raise StepError(
                    f"routine '{self.name}' needs an argument '{argument.name}'",
                    f"give {argument.name}{unit}",
                )


@cache
def _arguments(function: Callable[..., Calls]) -> tuple[Argument, ...]:
    # Reading a signature costs as much as a touch's planning, and steps ask for it each time.
    parameters = list(signature(function).parameters.values())[1:]
    return tuple(_argument(parameter) for parameter in parameters)


def _argument(parameter: Parameter) -> Argument:
    required = parameter.default is Parameter.empty
    return Argument(
        parameter.name,
        str(parameter.annotation),
        _UNITS.get(parameter.name.rpartition("_")[2], ""),
        required,
        None if required else parameter.default,
    )


def _check_kind(routine: str, argument: Argument, value: Any) -> None:
    kinds = {part.strip() for part in argument.kind.split("|")}
    if value is None:
        right = "None" in kinds
    elif isinstance(value, bool):
        right = "bool" in kinds
    elif isinstance(value, int):
        right = bool(kinds & {"int", "float"})
    elif isinstance(value, float):
        right = "float" in kinds
    else:
        right = isinstance(value, str) and "str" in kinds
    if not right:
        wanted = " or ".join(_WORDS[kind] for kind in sorted(kinds - {"None"}))
        unit = f" in {argument.unit}" if argument.unit else ""
        raise StepError(
            f"routine '{routine}': argument '{argument.name}' is {value!r}",
            f"expected {wanted}{unit}",
        )


_WORDS = {"bool": "true or false", "int": "a whole number", "float": "a number", "str": "a name"}


def _nearest(name: str, known: list[str]) -> str:
    close = get_close_matches(name, known, 1)
    return f"did you mean '{close[0]}'? " if close else ""


_FUNCTIONS: tuple[Callable[..., Calls], ...] = (
    prove_input,
    reference_by_face,
    reference_by_master,
    locate_setter,
    set_clearance,
    note_face_on_block,
    measure_setter_height,
    ten_touch_repeatability,
    measure_length,
    measure_length_here,
    measure_length_turning,
    recheck_length,
    set_work_z,
)

ROUTINES: dict[str, Routine] = {
    name: Routine(name, function)
    for function in _FUNCTIONS
    for name in (function.__name__.replace("_", "-"),)
}


def routine_by_name(name: str) -> Routine:
    """A built-in routine; underscores and hyphens mean the same.

    Raises:
        StepError: there is none of this name; the nearest one is named.
    """
    wanted = name.replace("_", "-")
    if wanted not in ROUTINES:
        raise StepError(
            f"there is no routine '{name}'",
            f"{_nearest(wanted, list(ROUTINES))}known: {', '.join(ROUTINES)}",
        )
    return ROUTINES[wanted]
