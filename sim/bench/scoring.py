"""How a score comes about: rules that the trainee can read, each with its points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FULL = 100


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: what is taken off each time, and at most."""

    key: str
    points: int
    most: int
    words: str

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a page."""
        return {"key": self.key, "points": self.points, "most": self.most, "words": self.words}


_RULES = (
    Rule("harm", 100, 100, "something or someone was hit, or could have been: nothing is left"),
    Rule("wrong", 60, 60, "a stored number is false and nothing stopped it"),
    Rule("missing", 25, 75, "each thing of the goal that was not reached"),
    Rule("answer", 30, 60, "each question answered wrongly or not at all"),
    Rule("proof", 15, 60, "each proof that was skipped"),
    Rule("risk", 15, 45, "each finding that could have ended badly"),
    Rule("hint", 1, 50, "a hint costs the points that it names"),
    Rule("time", 5, 10, "each started half of the par time that it took longer"),
)


def rules() -> tuple[Rule, ...]:
    """All rules, in the order in which they are applied."""
    return _RULES


def scored(counts: dict[str, int]) -> tuple[int, list[dict[str, Any]]]:
    """Points left of 100, and what each rule took; ``counts``: how often each rule applies."""
    lines = []
    left = FULL
    for rule in _RULES:
        times = counts.get(rule.key, 0)
        if times <= 0:
            continue
        cost = min(times * rule.points, rule.most)
        left -= cost
        lines.append({"rule": rule.key, "words": rule.words, "times": times, "cost": cost})
    return max(left, 0), lines
