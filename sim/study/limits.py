"""Limits that a matrix must keep, such as ``harm=0`` or ``score>=60``, for build servers."""

from __future__ import annotations

import operator
import re
from typing import NamedTuple

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.library import nearest
from drytouch.sim.study.matrix import Matrix

NAMES = ("harm", "missed", "caught", "no-effect", "score", "false-stops", "worse-together")
_SIGNS = {
    "<=": operator.le,
    ">=": operator.ge,
    "=": operator.eq,
    "<": operator.lt,
    ">": operator.gt,
}
_LIMIT = re.compile(r"\s*([a-z-]+)\s*(<=|>=|=|<|>)\s*(\d+(?:\.\d+)?)\s*")


class Limit(NamedTuple):
    """One limit: a name of ``NAMES``, a sign, a number."""

    name: str
    sign: str
    number: float

    def __str__(self) -> str:
        return f"{self.name}{self.sign}{self.number:g}"


def limit_from(text: str) -> Limit:
    """A limit from what was typed.

    Raises:
        InputError: it is no limit, or of nothing that a matrix counts.
    """
    found = _LIMIT.fullmatch(text)
    if found is None:
        raise InputError(f"'{text}' is no limit", fix="write it as in harm=0 or score>=60")
    name, sign, number = found.groups()
    if name not in NAMES:
        raise InputError(f"a matrix does not count '{name}'", fix=nearest(name, NAMES))
    return Limit(name, sign, float(number))


def broken(limit: Limit, matrix: Matrix) -> str:
    """Why a matrix does not keep a limit, in words; empty where it does."""
    seen = _seen(limit.name, matrix)
    if seen is None:
        return f"{limit}: there is no score"
    if _SIGNS[limit.sign](seen, limit.number):
        return ""
    return f"{limit}: it is {seen:g}"


def _seen(name: str, matrix: Matrix) -> float | None:
    if name == "score":
        return matrix.score
    if name == "false-stops":
        return matrix.false_stops
    if name == "worse-together":
        return len(matrix.worse_together)
    if name == "no-effect":
        return matrix.count("no effect")
    return matrix.count(name)  # type: ignore[arg-type]
