"""The budget beside trials of the twin: do the two agree, and by how much not."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any

from drytouch.sim.study.budget import Budget, Line
from drytouch.sim.study.trials_spread import Spread
from drytouch.sim.study.trials_summary import Summary

# How far standard deviations may differ; on top comes what the count of trials leaves open.
AGREE = 0.05
# Three standard errors: a true difference of nothing shows more in 1 of 370.
_SIGMAS = 3.0
# Less than a hundredth of a nanometre is no scatter and no bias.
_NOTHING_MM = 1e-8


@dataclass(frozen=True)
class Against:
    """One number's budget against its trials, mm."""

    line: Line
    trials: Spread

    @property
    def ratio(self) -> float:
        """Deviation by the budget over that of the trials; 1 where neither scatters."""
        if max(self.line.deviation, self.trials.deviation) < _NOTHING_MM:
            return 1.0
        return self.line.deviation / max(self.trials.deviation, _NOTHING_MM)

    @property
    def difference(self) -> float:
        """Mean by the budget minus that of the trials."""
        return self.line.bias - self.trials.mean

    @property
    def open_ratio(self) -> float:
        """How far the ratio may be off by chance alone: 3 / sqrt(2 n), the normal case."""
        return _SIGMAS / sqrt(2.0 * max(self.trials.count - 1, 1))

    @property
    def open_difference(self) -> float:
        """How far the means may differ by chance alone."""
        return _SIGMAS * self.trials.deviation / sqrt(max(self.trials.count, 1))

    @property
    def agree(self) -> bool:
        """Whether deviation and mean agree: 5 %, and what chance leaves open."""
        # What chance leaves open is a share of the true deviation, which the budget stands for.
        scatter = abs(1.0 / max(self.ratio, 1e-9) - 1.0) <= AGREE + self.open_ratio
        room = self.open_difference + AGREE * self.trials.deviation + _NOTHING_MM
        return scatter and abs(self.difference) <= room

    def to_dict(self, budget: Budget) -> dict[str, Any]:
        """Plain data for a report."""
        line, low_high = self.line, self.line.drawn_interval()
        return {
            "number": line.name,
            "unit": "mm",
            "terms": [
                {
                    "cause": term.cause,
                    "shape": term.shape,
                    "deviation": term.deviation,
                    "share": line.share(term),
                    "bias": term.bias,
                }
                for term in line.terms
            ],
            "sensitivities": {
                str(number + 1): c for number, c in enumerate(line.sensitivities) if c != 0.0
            },
            "propagated": {"deviation": line.deviation, "bias": line.bias},
            "drawn": {
                "deviation": line.drawn_deviation,
                "bias": line.drawn_bias,
                "interval_95": list(low_high),
            },
            "trials": {
                "count": self.trials.count,
                "deviation": self.trials.deviation,
                "bias": self.trials.mean,
                "interval_95": [self.trials.quantile(0.025), self.trials.quantile(0.975)],
            },
            "deviation_ratio": self.ratio,
            "bias_difference": self.difference,
            "agree": self.agree,
            "correlations": {
                other.name: round(budget.correlation(line, other), 4)
                for other in budget.lines
                if other is not line and abs(budget.correlation(line, other)) > 0.005
            },
        }


def against(budget: Budget, summary: Summary) -> list[Against]:
    """Each number that both know."""
    return [
        Against(line, summary.errors[line.name])
        for line in budget.lines
        if line.name in summary.errors
    ]
