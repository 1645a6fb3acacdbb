"""What a set of trials came to: rates with intervals, and how each number spreads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from drytouch.sim.study.trials_plan import UNDONE, Plan
from drytouch.sim.study.trials_spread import Spread, Thinned, wilson

PERCENTILES = (0.1, 1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0, 99.9)
WITHIN = (90.0, 95.0, 99.0)
# Points in a scatter plot: more would print one on top of the other.
MOST_POINTS = 1500
BARS = 40


class Summary:
    """Takes rows part by part, in order; its size does not grow with their number."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.count = 0
        self.again = 0
        self.verdicts: Counter[str] = Counter()
        self.findings: Counter[str] = Counter()
        self.alarms: Counter[str] = Counter()
        self.errors: dict[str, Spread] = {}
        self.inside: Counter[str] = Counter()
        self.varied = [Spread() for _ in plan.varies]
        self.points = Thinned(MOST_POINTS)
        self.first_problem = ""
        self.first_of: dict[str, int] = {}
        expect = plan.scenario.expect
        self.wanted = expect.verdict if expect else "right"

    def add(self, rows: Sequence[list[Any]]) -> None:
        """One part's rows."""
        columns: dict[str, list[float]] = {}
        for index, verdict, codes, alarms, _, again, problem, values, numbers in rows:
            self.count += 1
            self.again += again
            self.verdicts[verdict] += 1
            self.first_of.setdefault(f"verdict {verdict}", index)
            for code in codes.split(";") if codes else ():
                self.findings[code] += 1
                self.first_of.setdefault(f"finding {code}", index)
            for code in dict.fromkeys(alarms.split(";")) if alarms else ():
                self.alarms[code] += 1
                self.first_of.setdefault(f"alarm {code}", index)
            self.first_problem = self.first_problem or problem
            for name, (error, good) in numbers.items():
                columns.setdefault(name, []).append(error)
                self.inside[name] += bool(good)
            self.points.add(index, (values, {name: entry[0] for name, entry in numbers.items()}))
        for name, column in columns.items():
            self.errors.setdefault(name, Spread()).add(column)
        for place, spread in enumerate(self.varied):
            values = [row[7][place] for row in rows]
            if all(isinstance(v, int | float) and not isinstance(v, bool) for v in values):
                spread.add(values)

    @property
    def as_expected(self) -> int:
        """How many trials ended with the verdict that the scenario expects."""
        return self.verdicts[self.wanted]

    @property
    def all_undone(self) -> bool:
        """Whether no trial could be done at all."""
        return self.count > 0 and self.verdicts[UNDONE] == self.count

    def rate(self, hits: int) -> dict[str, Any]:
        """A rate with its 95 % interval."""
        low, high = wilson(hits, self.count)
        return {"count": hits, "rate": hits / max(self.count, 1), "low": low, "high": high}

    def to_dict(self) -> dict[str, Any]:
        """The summary as one JSON object."""
        plan = self.plan
        return {
            "format": "drytouch trials",
            "format_version": 1,
            "scenario": plan.scenario.name,
            "trials": self.count,
            "first_seed": plan.seed,
            "varied": [
                {"key": v.typed, "distribution": v.kind, "values": list(v.values)}
                for v in plan.varies
            ],
            "draws_refused": self.again,
            "expected_verdict": self.wanted,
            "as_expected": self.rate(self.as_expected),
            "verdicts": {name: self.rate(n) for name, n in sorted(self.verdicts.items())},
            "findings": {name: self.rate(n) for name, n in sorted(self.findings.items())},
            "alarms": {name: self.rate(n) for name, n in sorted(self.alarms.items())},
            "first_trial_of": dict(sorted(self.first_of.items())),
            "numbers": {name: self._number(name, spread) for name, spread in self.errors.items()},
            "problem": self.first_problem,
            "statistics": "mean and deviation exact; percentiles within 0.1 % of their distance "
            "from the first part's median; intervals 95 %, rates by Wilson",
        }

    def _number(self, name: str, spread: Spread) -> dict[str, Any]:
        low, high = spread.mean_interval()
        return {
            "unit": "mm",
            "count": spread.count,
            "mean_error": spread.mean,
            "mean_interval": [low, high],
            "deviation": spread.deviation,
            "lowest": spread.low,
            "highest": spread.high,
            "percentiles": {f"{p:g}": spread.quantile(p / 100) for p in PERCENTILES},
            "percentile_intervals": {
                f"{p:g}": list(spread.quantile_interval(p / 100)) for p in (5.0, 95.0)
            },
            "within": {f"{p:g}": spread.within(p / 100) for p in WITHIN},
            "inside_tolerance": {
                **dict(zip(("low", "high"), wilson(self.inside[name], spread.count), strict=True)),
                "count": self.inside[name],
                "rate": self.inside[name] / max(spread.count, 1),
            },
        }
