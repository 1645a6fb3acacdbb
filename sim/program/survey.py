"""What a line's values depend on, seen without running it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.line import Bracket, Function, Line, Number, Parameter, Signed, Value
from drytouch.sim.program.machine_values import INPUT_STATES, machine_value
from drytouch.sim.program.parameters import Parameters
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.values import COMPARISONS, LOGIC, evaluate, nearest_integer

UNKNOWN_VALUE = float("nan")
# Values that are exactly 0 or 1, so that comparing them exactly or nearly is the same.
FLAGS = frozenset({5824, 5846, *INPUT_STATES})
_NOTHING = Parameters()


@dataclass(slots=True)
class Survey:
    """``reads``: the parameters read by a plain number; the flags: what else was met."""

    reads: set[int] = field(default_factory=set)
    computed_reads: bool = False
    fix: bool = False
    equality: bool = False
    logic: bool = False


def values_of(line: Line) -> Iterator[Value]:
    """Yield every value on the line."""
    for setting in line.settings:
        yield setting.index
        yield setting.value
    for word in line.words:
        yield word.value
    if line.flow is not None:
        yield line.flow.target
        if line.flow.condition is not None:
            yield line.flow.condition


def survey(line: Line) -> Survey:
    """Return what the line's values depend on."""
    found = Survey()
    for value in values_of(line):
        if not isinstance(value, Number):
            _look(value, found)
    return found


def survey_value(value: Value) -> Survey:
    """Return what one value depends on."""
    found = Survey()
    _look(value, found)
    return found


def _look(value: Value, found: Survey) -> None:
    if isinstance(value, Parameter):
        index = plain_index(value)
        if index is None:
            found.computed_reads = True
            _look(value.index, found)
        elif index:
            found.reads.add(index)
    elif isinstance(value, Signed):
        _look(value.value, found)
    elif isinstance(value, Function):
        found.fix = found.fix or (value.name == "FIX" and not _certain(value.argument))
        _look(value.argument, found)
        if value.second is not None:
            _look(value.second, found)
    elif isinstance(value, Bracket):
        _look_inside(value, found)


def _look_inside(value: Bracket, found: Survey) -> None:
    names = {name for name, _ in value.rest}
    found.logic = found.logic or (bool(names & COMPARISONS) and bool(names & LOGIC))
    before = value.first
    _look(before, found)
    for name, term in value.rest:
        if name in ("EQ", "NE") and not (_is_exact(before) or _is_exact(term)):
            found.equality = True
        _look(term, found)
        before = term


def _certain(argument: Bracket) -> bool:
    """Whether FIX of this is the same on every machine: a plain number that is not negative."""
    return not argument.rest and isinstance(argument.first, Number) and argument.first.value >= 0


def plain_index(value: Value) -> int | None:
    """Return the number of a parameter that is named by a plain number, else None."""
    if isinstance(value, Parameter) and isinstance(value.index, Number):
        return nearest_integer(value.index.value)
    return None


def _is_exact(value: Value) -> bool:
    index = plain_index(value)
    return index == 0 or index in FLAGS


def probe(value: Value, settings: LanguageSettings) -> float | None:
    """Return what a value comes to without any parameter, NaN if that can't be told.

    Raises ``ProgramError`` for a part that is wrong whatever the parameters hold.
    """
    if isinstance(value, Number):
        return value.value
    if isinstance(value, Parameter):
        index = probe(value.index, settings)
        return UNKNOWN_VALUE if index is None or index != index else _probe_read(index)
    parts: list[Value] = []
    if isinstance(value, Signed):
        parts = [value.value]
    elif isinstance(value, Function):
        parts = [value.argument, *([] if value.second is None else [value.second])]
    else:
        parts = [value.first, *(term for _, term in value.rest)]
    if any(part is not None and part != part for part in [probe(p, settings) for p in parts]):
        return UNKNOWN_VALUE
    return evaluate(value, lambda number: None, settings)


def _probe_read(index: float) -> float | None:
    whole = nearest_integer(index)
    if whole is None:
        raise ProgramError("E-PARAM", f"a parameter number is an integer, not {index:g}")
    if whole and machine_value(whole) is None:
        _NOTHING.read(whole)
    return UNKNOWN_VALUE if whole else None
