"""Chance at work on a scenario: ``KEY=DISTRIBUTION``, such as ``machine.axes.z.backlash_um=normal:2,0.5``.

A key names one value of the scenario, with dots between its parts and ``#1`` for the first entry of
a list. It may end in another unit of its family. Distributions: ``normal:mean,sigma``,
``uniform:low,high``, ``choice:a,b,c`` (each as likely), and two that follow the trial's number:
``list:a,b,c`` (in turn) and ``grid:low,high,count``. Several lists and grids give every combination.
"""  # noqa: E501 - the example is one line

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from math import isfinite, sqrt
from typing import NamedTuple

from numpy.random import PCG64, Generator, SeedSequence

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.vary_keys import Key, Refused, known_keys, resolve
from drytouch.sim.study.vary_set import Change, moves_bodies

# Draws that a limit of the scenario refuses are drawn again; more often than this is no chance.
MOST_DRAWS = 100
# Keeps these streams apart from the run's own, which are numbered from 0.
_STREAM = 0x76617279
_TAKES = {
    "normal": "a mean and a sigma, as in normal:0.1,0.002",
    "uniform": "a lowest and a highest value, as in uniform:90,110",
    "choice": "one value or more, as in choice:edge,scan",
    "list": "one value or more, as in list:25,50,100",
    "grid": "lowest, highest and how many, as in grid:25,400,16",
}
Value = float | int | bool | str | None


@dataclass(frozen=True, slots=True)
class Vary:
    """One parameter and how it varies; values are in the unit of the typed key."""

    typed: str
    key: Key
    kind: str
    values: tuple[Value, ...]

    @property
    def in_turn(self) -> bool:
        """Whether the value follows from the trial's number."""
        return self.kind in ("list", "grid")

    def draw(self, chance: Generator) -> Value:
        """One value by chance."""
        if self.kind == "choice":
            return self.values[int(chance.integers(len(self.values)))]
        first, second = self.values
        assert isinstance(first, int | float)
        assert isinstance(second, int | float)
        if self.kind == "normal":
            return first + second * float(chance.standard_normal())
        return first + (second - first) * float(chance.random())

    @property
    def moments(self) -> tuple[float, float] | None:
        """Mean and standard deviation in the field's own unit; None for what isn't a number."""
        numbers = [float(v) for v in self.values if isinstance(v, int | float)]
        if len(numbers) != len(self.values):
            return None
        factor = self.key.factor
        if self.kind == "normal":
            return numbers[0] * factor, abs(numbers[1] * factor)
        if self.kind == "uniform":
            low, high = numbers
            return (low + high) / 2 * factor, abs(high - low) / sqrt(12.0) * abs(factor)
        mean = sum(numbers) / len(numbers)
        square = sum((v - mean) ** 2 for v in numbers) / len(numbers)
        return mean * factor, sqrt(square) * abs(factor)


class Drawn(NamedTuple):
    """A scenario with its values put in; ``again`` counts draws that a limit refused."""

    scenario: Scenario
    values: tuple[Value, ...]
    again: int


class Variation:
    """A scenario and all that varies in it. Bodies are looked at anew only where they move."""

    def __init__(self, scenario: Scenario, varies: Sequence[Vary]) -> None:
        self.scenario = scenario
        self.varies = tuple(varies)
        self._change = Change(scenario, [vary.key for vary in varies])
        self._streams = [(_STREAM, *_words(vary.key.name)) for vary in varies]
        self._by_chance = any(not vary.in_turn for vary in varies)

    @cached_property
    def moves_bodies(self) -> bool:
        """Whether any body's shape or place depends on a value that varies."""
        return any(moves_bodies(vary.key) for vary in self.varies)

    def at(self, index: int, seed: int) -> Drawn:
        """The scenario of one trial: a function of its number and seed alone.

        Raises:
            InputError: the limits of the scenario refuse one draw after the other.
        """
        if not self.varies:
            return Drawn(self.scenario, (), 0)
        streams = [
            None if vary.in_turn else Generator(PCG64(SeedSequence(seed, spawn_key=stream)))
            for vary, stream in zip(self.varies, self._streams, strict=True)
        ]
        for again in range(MOST_DRAWS):
            values = self._values(index, streams)
            try:
                scenario = self._change.put(self._own(values), self.moves_bodies)
            except Refused as refused:
                if not self._by_chance:
                    raise InputError(
                        f"trial {index}: {refused.message}", key=refused.key, fix=refused.fix
                    ) from None
                last = refused
            else:
                return Drawn(scenario, values, again)
        raise InputError(
            f"trial {index}: {MOST_DRAWS} draws were refused, the last because {last.message}",
            key=last.key,
            fix="choose a distribution that stays inside what the scenario allows",
        )

    def _values(self, index: int, streams: list[Generator | None]) -> tuple[Value, ...]:
        values: list[Value] = []
        left = index
        for vary, chance in zip(self.varies, streams, strict=True):
            if chance is None:
                left, place = divmod(left, len(vary.values))
                values.append(vary.values[place])
            else:
                values.append(vary.draw(chance))
        return tuple(values)

    def _own(self, values: tuple[Value, ...]) -> list[Value]:
        own: list[Value] = []
        for vary, value in zip(self.varies, values, strict=True):
            factor = vary.key.factor
            number = isinstance(value, int | float) and not isinstance(value, bool)
            own.append(value * factor if number and factor != 1.0 else value)  # type: ignore[operator]
        return own


def _words(name: str) -> tuple[int, int]:
    digest = sha256(name.encode()).digest()
    return int.from_bytes(digest[:4], "big"), int.from_bytes(digest[4:8], "big")


def parse_varies(scenario: Scenario, texts: Sequence[str]) -> tuple[Vary, ...]:
    """What ``--vary`` says, one text for each parameter.

    Raises:
        InputError: a key that the scenario lacks (the nearest is named), or values that it
            can't take.
    """
    varies: list[Vary] = []
    for text in texts:
        vary = _parse(scenario, text)
        if any(vary.key.path == other.key.path for other in varies):
            raise InputError(f"'{vary.typed}' is varied twice", key="--vary", fix="keep one")
        varies.append(vary)
    for vary in varies:
        _try_out(scenario, vary)
    return tuple(varies)


def _parse(scenario: Scenario, text: str) -> Vary:
    typed, equals, rest = text.partition("=")
    typed, rest = typed.strip(), rest.strip()
    shape = re.fullmatch(r"([A-Za-z]+)\s*(?::\s*(.*)|\((.*)\))", rest, re.DOTALL)
    if not equals or not typed or shape is None:
        raise InputError(
            f"'{text}' is not KEY=DISTRIBUTION",
            key="--vary",
            fix=f"a distribution takes {_TAKES['normal']}; others are {', '.join(_TAKES)}",
        )
    kind = shape.group(1).lower()
    if kind not in _TAKES:
        raise InputError(
            f"there is no distribution '{kind}'", key="--vary", fix=nearest(kind, list(_TAKES))
        )
    key = resolve(scenario, typed)
    if key is None:
        raise InputError(
            f"the scenario has no value '{typed}'",
            key="--vary",
            fix=nearest(typed, known_keys(scenario)),
        )
    said = shape.group(2) if shape.group(2) is not None else shape.group(3)
    values = tuple(_value(part) for part in said.split(",")) if said.strip() else ()
    return Vary(typed, key, kind, _checked(text, kind, values, key))


def _value(text: str) -> Value:
    text = text.strip().strip("\"'")
    if text in ("true", "false"):
        return text == "true"
    if text == "none":
        return None
    for read in (int, float):
        try:
            return read(text)
        except ValueError:
            continue
    return text


def _checked(text: str, kind: str, values: tuple[Value, ...], key: Key) -> tuple[Value, ...]:
    def wrong(message: str, fix: str = "") -> InputError:
        return InputError(f"'{text}': {message}", key="--vary", fix=fix or f"write {_TAKES[kind]}")

    numbers = [v for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
    if any(not isfinite(v) for v in numbers):
        raise wrong("expected ordinary numbers")
    if kind in ("choice", "list"):
        if not values:
            raise wrong(f"{kind} takes {_TAKES[kind]}")
        return values
    if len(numbers) != len(values) or len(values) != (3 if kind == "grid" else 2):
        raise wrong(f"{kind} takes {_TAKES[kind]}")
    if kind != "grid" and key.whole:
        raise wrong(f"{key.name} takes whole numbers only", "use choice, list or grid")
    if kind == "normal" and numbers[1] < 0.0:
        raise wrong(f"sigma is {numbers[1]:g}, below 0")
    if kind == "uniform" and numbers[0] > numbers[1]:
        raise wrong(f"the lowest value ({numbers[0]:g}) is above the highest ({numbers[1]:g})")
    if kind == "grid":
        low, high, count = numbers
        if not isinstance(count, int) or count < 2:
            raise wrong(f"a grid has 2 values or more, not {count:g}")
        step = (high - low) / (count - 1)
        grid = [low + step * i for i in range(count - 1)] + [high]
        if key.whole:
            if any(value != round(value) for value in grid):
                raise wrong(f"{key.name} takes whole numbers only", "choose a count that fits")
            return tuple(round(value) for value in grid)
        return tuple(float(value) for value in grid)
    return values


def _try_out(scenario: Scenario, vary: Vary) -> None:
    """Values that are written out must be possible, each by itself."""
    if vary.kind in ("normal", "uniform"):
        first, second = vary.values
        tried: tuple[Value, ...] = (first,) if vary.kind == "normal" else (first, second)
    else:
        tried = vary.values
    factor = vary.key.factor
    for value in tried:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        own = value * factor if number and factor != 1.0 else value  # type: ignore[operator]
        try:
            vary.key.check(own)
        except Refused as refused:
            raise InputError(
                f"'{vary.typed}' can't be {value}: {refused.message}", key="--vary", fix=refused.fix
            ) from None
