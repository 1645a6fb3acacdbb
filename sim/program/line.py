"""The model of one line: what was written, before any of it means anything.

A chain of operators stays flat (``Bracket``), because how tightly AND and OR bind is a setting of
the machine; a line therefore reads the same on every machine, and prints as it was bracketed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TypeAlias

LINE_LENGTH_LIMIT = 256


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written."""

    value: float


@dataclass(frozen=True, slots=True)
class Parameter:
    """``#`` and a value that gives the parameter's number."""

    index: Value


@dataclass(frozen=True, slots=True)
class Signed:
    """``-`` or ``+`` before a parameter, bracket or function."""

    sign: str
    value: Value


@dataclass(frozen=True, slots=True)
class Bracket:
    """``[first operator value operator value ...]``, not yet ordered by precedence."""

    first: Value
    rest: tuple[tuple[str, Value], ...] = ()


@dataclass(frozen=True, slots=True)
class Function:
    """A function of one bracketed argument, or ``ATAN[y]/[x]`` of two."""

    name: str
    argument: Bracket
    second: Bracket | None = None


Value: TypeAlias = Number | Parameter | Signed | Bracket | Function


@dataclass(frozen=True, slots=True)
class Word:
    """A letter with its value; ``at`` is its place in the line without blanks and comments."""

    letter: str
    value: Value
    at: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Setting:
    """``#index = value``."""

    index: Value
    value: Value
    at: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Flow:
    """A flow statement: ``kind`` is GOTO, IF, WHILE or END; ``target`` a label or loop number."""

    kind: str
    target: Value
    condition: Bracket | None = None
    at: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Line:
    """One line, read but not yet evaluated."""

    words: tuple[Word, ...] = ()
    settings: tuple[Setting, ...] = ()
    comments: tuple[str, ...] = ()
    number: int | None = None
    block_delete: bool = False
    flow: Flow | None = None
    program: int | None = None
    percent: bool = False

    @property
    def is_blank(self) -> bool:
        """Whether the line does nothing at all."""
        return not (self.words or self.settings or self.comments or self.flow or self.percent)


def comment_kind(text: str) -> str:
    """Return ``MSG`` or ``ALARM`` if the comment does something, else an empty string."""
    head, comma, _ = text.partition(",")
    kind = "".join(head.split()).upper()
    return kind if comma and kind in ("MSG", "ALARM") else ""


def print_number(value: float, short: bool = False) -> str:
    """Return ``value`` in digits that read back as the same float, without an exponent."""
    text = format(Decimal(repr(value)), "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if short and text.lstrip("-").startswith("0."):
        text = text.replace("0.", ".", 1)
    return text


def print_value(value: Value, gap: str = " ") -> str:
    """Return text that reads back as ``value``."""
    if isinstance(value, Number):
        return print_number(value.value, short=not gap)
    if isinstance(value, Parameter):
        return "#" + print_value(value.index, gap)
    if isinstance(value, Signed):
        return value.sign + print_value(value.value, gap)
    if isinstance(value, Function):
        second = "" if value.second is None else "/" + print_value(value.second, gap)
        return value.name + print_value(value.argument, gap) + second
    rest = "".join(f"{gap}{name}{gap}{print_value(term, gap)}" for name, term in value.rest)
    return f"[{print_value(value.first, gap)}{rest}]"


def _print_flow(flow: Flow, gap: str) -> str:
    target = print_value(flow.target, gap)
    if flow.condition is None:
        return f"{flow.kind}{gap}{target}"
    then = "GOTO" if flow.kind == "IF" else "DO"
    return f"{flow.kind}{gap}{print_value(flow.condition, gap)}{gap}{then}{gap}{target}"


def _parts(line: Line, gap: str) -> list[str]:
    parts = []
    if line.number is not None:
        parts.append(f"N{line.number}")
    if line.program is not None:
        parts.append(f"O{line.program}")
    if line.flow is not None:
        parts.append(_print_flow(line.flow, gap))
    for setting in line.settings:
        parts.append(f"#{print_value(setting.index, gap)}={print_value(setting.value, gap)}")
    parts.extend(word.letter + print_value(word.value, gap) for word in line.words)
    parts.extend(f"({comment})" for comment in line.comments)
    return parts


def print_line(line: Line) -> str:
    """Return text that parses to the same line: spaced for people, or bare if it must be short."""
    if line.percent:
        return "%"
    delete = "/" if line.block_delete else ""
    text = delete + " ".join(_parts(line, " "))
    return text if len(text) <= LINE_LENGTH_LIMIT else delete + "".join(_parts(line, ""))
