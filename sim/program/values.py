"""What a value comes to: parameters, operators by their levels, functions in degrees.

A value is a float, or ``None`` where it is vacant: an argument that a call did not pass. A vacant
value equals only ``#0``, counts as 0 in arithmetic, and takes its word off the line.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import TypeAlias

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.line import Bracket, Function, Number, Parameter, Signed, Value
from drytouch.sim.program.settings import LanguageSettings

Read: TypeAlias = Callable[[int], float | None]

# NISTIR 6556 asks for integers "close to" an integer, within 0.0001.
INTEGER_TOLERANCE = 1e-4
# The choice of controls that forgive rounding when they compare.
COMPARISON_TOLERANCE = 1e-6

COMPARISONS = frozenset({"EQ", "NE", "GT", "GE", "LT", "LE"})
LOGIC = frozenset({"AND", "OR", "XOR"})
LEVELS: dict[str, tuple[frozenset[str], ...]] = {
    "tighter": (
        frozenset({"**"}),
        frozenset({"*", "/", "MOD"}),
        frozenset({"+", "-"}) | LOGIC,
        COMPARISONS,
    ),
    "looser": (
        frozenset({"**"}),
        frozenset({"*", "/", "MOD"}),
        frozenset({"+", "-"}),
        COMPARISONS,
        LOGIC,
    ),
}


def nearest_integer(value: float) -> int | None:
    """Return the integer that ``value`` stands for, or None if it is not close enough to one."""
    nearest = math.floor(value + 0.5)
    return nearest if abs(value - nearest) <= INTEGER_TOLERANCE else None


def evaluate(value: Value, read: Read, settings: LanguageSettings) -> float | None:
    """Return what ``value`` comes to; ``read`` gives the value of a numbered parameter.

    Raises ``ProgramError`` E-DOMAIN or E-PARAM.
    """
    if isinstance(value, Number):
        return value.value
    if isinstance(value, Parameter):
        return read(parameter_index(value.index, read, settings))
    if isinstance(value, Bracket):
        return _bracket(value, read, settings)
    if isinstance(value, Signed):
        number = evaluate(value.value, read, settings) or 0.0
        return -number if value.sign == "-" else number
    return _function(value, read, settings)


def parameter_index(index: Value, read: Read, settings: LanguageSettings) -> int:
    """Return the parameter number that ``index`` names; raises E-PARAM if it is no integer."""
    number = evaluate(index, read, settings) or 0.0
    whole = nearest_integer(number)
    if whole is None:
        raise ProgramError("E-PARAM", f"a parameter number is an integer, not {number:g}")
    return whole


def _bracket(value: Bracket, read: Read, settings: LanguageSettings) -> float | None:
    if not value.rest:
        return evaluate(value.first, read, settings)
    # Every term is evaluated before any is combined: there is no short cut past an error.
    terms = [evaluate(value.first, read, settings)]
    names = []
    for name, term in value.rest:
        names.append(name)
        terms.append(evaluate(term, read, settings))
    for place in _order(tuple(names), settings.logic_beside_comparison):
        terms[place] = combine(names[place], terms[place], terms[place + 1], settings)
        del terms[place + 1], names[place]
    return terms[0]


@lru_cache(maxsize=1024)
def _order(names: tuple[str, ...], logic: str) -> tuple[int, ...]:
    """Return the places at which to combine, each counted in the list as it is by then."""
    left = list(names)
    places = []
    for level in LEVELS[logic]:
        place = 0
        while place < len(left):
            if left[place] in level:
                del left[place]
                places.append(place)
            else:
                place += 1
    return tuple(places)


def combine(
    name: str, left: float | None, right: float | None, settings: LanguageSettings
) -> float:
    """Return ``left name right``; raises E-DOMAIN where there is no finite real result."""
    if name in ("EQ", "NE"):
        if left is None or right is None:
            same = left is right
        elif settings.comparison == "exact":
            same = left == right
        else:
            same = abs(left - right) <= COMPARISON_TOLERANCE
        return float(same == (name == "EQ"))
    try:
        result = _OPERATORS[name](left or 0.0, right or 0.0)
    except ZeroDivisionError:
        raise ProgramError("E-DOMAIN", f"{left or 0:g} {name} {right or 0:g}: by zero") from None
    except OverflowError:
        raise ProgramError(
            "E-DOMAIN", f"{left or 0:g} {name} {right or 0:g} is too large"
        ) from None
    if isinstance(result, complex):
        raise ProgramError(
            "E-DOMAIN", f"{left or 0:g} ** {right or 0:g}: a negative base needs a whole power"
        )
    return _finite(float(result), name)


def _finite(result: float, name: str) -> float:
    if math.isinf(result) or (math.isnan(result)):
        raise ProgramError("E-DOMAIN", f"the result of {name} is too large")
    return result


def _modulo(left: float, right: float) -> float:
    if right == 0:
        raise ZeroDivisionError
    # Never negative, whatever the signs: the remainder by the divisor's size.
    remainder = math.fmod(left, abs(right))
    return remainder + abs(right) if remainder < 0 else remainder


_OPERATORS: dict[str, Callable[[float, float], float]] = {
    "**": lambda a, b: a**b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "MOD": _modulo,
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "AND": lambda a, b: float(a != 0 and b != 0),
    "OR": lambda a, b: float(a != 0 or b != 0),
    "XOR": lambda a, b: float((a != 0) != (b != 0)),
    "GT": lambda a, b: float(a > b),
    "GE": lambda a, b: float(a >= b),
    "LT": lambda a, b: float(a < b),
    "LE": lambda a, b: float(a <= b),
}


def _round_away(value: float) -> float:
    # Not floor(size + 0.5): the sum itself rounds up for the largest float below one half.
    part, whole = math.modf(abs(value))
    return math.copysign(whole + (part >= 0.5), value)


_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda a: math.degrees(math.acos(a)),
    "ASIN": lambda a: math.degrees(math.asin(a)),
    "COS": lambda a: math.cos(math.radians(a)),
    "EXP": math.exp,
    "FUP": lambda a: float(math.ceil(a)),
    "LN": math.log,
    "ROUND": _round_away,
    "SIN": lambda a: math.sin(math.radians(a)),
    "SQRT": math.sqrt,
    "TAN": lambda a: math.tan(math.radians(a)),
}


def _function(call: Function, read: Read, settings: LanguageSettings) -> float:
    argument = evaluate(call.argument, read, settings) or 0.0
    if call.second is not None:
        second = evaluate(call.second, read, settings) or 0.0
        return math.degrees(math.atan2(argument, second))
    if call.name == "FIX":
        down = settings.fix_of_negative == "down"
        return float(math.floor(argument) if down else math.trunc(argument))
    try:
        return _finite(_FUNCTIONS[call.name](argument), call.name)
    except OverflowError:
        raise ProgramError("E-DOMAIN", f"{call.name}[{argument:g}] is too large") from None
    except ValueError:
        raise ProgramError("E-DOMAIN", f"{call.name}[{argument:g}] has no real result") from None
