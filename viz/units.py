"""Lengths as the scenario wants them shown: millimetres, or inches beside the same sentences."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

MM_PER_INCH = 25.4

_LENGTH = re.compile(r"([+-]?\d+(?:\.\d+)?)\s?mm(/s|/min)?(?![\w²])")
_SMALL = re.compile(r"([+-]?\d+(?:\.\d+)?)\s?[µu]m\b")


class Units:
    """How numbers are written; ``inch`` by the scenario's ``display``."""

    def __init__(self, inch: bool = False) -> None:
        self.inch = inch

    @classmethod
    def of(cls, facts: Mapping[str, Any]) -> Units:
        """From a recording's facts about its scenario."""
        return cls(facts.get("display") == "inch")

    @property
    def small_unit(self) -> str:
        """The unit of small travels."""
        return "thou" if self.inch else "µm"

    def small_value(self, mm: float) -> float:
        """A small travel in that unit."""
        return mm / MM_PER_INCH * 1000.0 if self.inch else mm * 1000.0

    def length(self, mm: float, places: int = 3) -> str:
        """A length; an inch shows one digit more."""
        if self.inch:
            return f"{_plain(mm / MM_PER_INCH, places + 1)} in"
        return f"{_plain(mm, places)} mm"

    def small(self, mm: float) -> str:
        """A small travel, micrometres or thousandths of an inch."""
        value = self.small_value(mm)
        if self.inch:
            return f"{_plain(value, 2)} thou"
        if abs(value) >= 1000.0:
            return self.length(mm)
        return f"{_plain(value, 1 if abs(value) < 99.95 else 0)} µm"

    def feed(self, mm_per_s: float) -> str:
        """A speed along the path."""
        per_min = mm_per_s * 60.0
        return f"{per_min / MM_PER_INCH:.1f} in/min" if self.inch else f"{per_min:.0f} mm/min"

    def text(self, sentence: str) -> str:
        """A sentence with its lengths and speeds in inches, when those are wanted."""
        if not self.inch:
            return sentence

        def long(found: re.Match[str]) -> str:
            number, per = found.group(1), found.group(2) or ""
            places = len(number.partition(".")[2]) + (2 if per else 1)
            sign = "+" if number.startswith("+") else ""
            return f"{sign}{_plain(float(number) / MM_PER_INCH, places)} in{per}"

        def tiny(found: re.Match[str]) -> str:
            return f"{_plain(float(found.group(1)) / MM_PER_INCH, 2)} thou"

        return _SMALL.sub(tiny, _LENGTH.sub(long, sentence))


def _plain(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0.0 else text
