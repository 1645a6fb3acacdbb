"""Where the error of a length or a height comes from, by the law of propagation and by draws.

Each touch adds to a number what its own chance makes of it, times the number's sensitivity to that
touch. Scatter of different touches is independent and adds in squares (GUM, JCGM 100, 5.1.2).
What touches share, such as the mean lateness at a feed, is one and the same quantity: it adds with
its sign (GUM 5.2.2 with a correlation of 1), so that it cancels between a reference and a tool that
were touched alike. The same model is drawn as well (JCGM 101), rounding to encoder counts
included, because some of its terms are far from normal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.budget_fixed import fixed_causes
from drytouch.sim.study.budget_lateness import DRAWS
from drytouch.sim.study.budget_probe import Probed, Touched, probe, sensitivities
from drytouch.sim.study.budget_touch import TouchChance, touch_chance
from drytouch.sim.study.vary import Variation, Vary
from drytouch.sim.twin.stage import Stage

# Sources of chance that the model of a touch covers, or that no stored number depends on.
_MODELLED = frozenset({"pre-travel", "bounce", "scan", "servo-tick", "link", "rule", "person"})
_WORDS = {
    "feel": "gauge block by feel",
    "edge-pass": "edges passing the pad",
    "noise": "noise on the line",
    "wire": "intermittent wire",
}
# Runs with one source of chance alone: its deviation is then known to 4 %. A source that changed
# nothing in the first runs is left at that.
_RUNS, _FIRST_RUNS = 300, 40
# A share or a bias below this is nothing: a hundredth of a nanometre, in mm.
_NOTHING_MM = 1e-8


@dataclass
class Term:
    """One cause: standard uncertainty and bias that it gives to a number, mm."""

    cause: str
    shape: str
    deviation: float = 0.0
    bias: float = 0.0


@dataclass
class Line:
    """The budget of one number, mm; ``drawn`` are draws of its error (JCGM 101)."""

    name: str
    terms: list[Term]
    sensitivities: list[float]
    drawn: NDArray[np.float64] = field(repr=False)

    @property
    def deviation(self) -> float:
        """Combined standard uncertainty, by the law of propagation."""
        return sqrt(sum(term.deviation**2 for term in self.terms))

    @property
    def bias(self) -> float:
        """Mean error that is to be expected."""
        return sum(term.bias for term in self.terms)

    @property
    def drawn_deviation(self) -> float:
        """Standard deviation of the draws."""
        return float(self.drawn.std(ddof=1))

    @property
    def drawn_bias(self) -> float:
        """Mean of the draws."""
        return float(self.drawn.mean())

    def drawn_interval(self) -> tuple[float, float]:
        """Interval that 95 % of the draws lie in, the same share outside on either side."""
        low, high = np.quantile(self.drawn, [0.025, 0.975])
        return float(low), float(high)

    def share(self, term: Term) -> float:
        """A term's share of the variance."""
        total = self.deviation**2
        return term.deviation**2 / total if total > 0.0 else 0.0


@dataclass
class Budget:
    """Budgets of all numbers that a scenario stores by touching."""

    lines: list[Line]
    touches: list[Touched]
    touch_deviations: list[float]

    def correlation(self, one: Line, other: Line) -> float:
        """Correlation of two numbers' scatter, from the touches that they share."""
        both = sum(
            a * b * u * u
            for a, b, u in zip(
                one.sensitivities, other.sensitivities, self.touch_deviations, strict=True
            )
        )
        size = one.deviation * other.deviation
        return both / size if size > 0.0 else 0.0


def budget_of(scenario: Scenario, varies: Sequence[Vary] = ()) -> Budget:
    """The budget of every number that the scenario's steps store.

    Raises:
        InputError: a step can't be done, or nothing is touched and stored.
    """
    from drytouch.sim.faults import with_faults

    scenario = with_faults(scenario)
    stage = Stage(scenario)
    plain = probe(scenario, stage=stage)
    moved = sensitivities(scenario, plain, stage)
    names = [name for name in plain.errors if any(moved[name])]
    if not names:
        raise InputError(
            "the scenario stores no number that depends on a touch",
            scenario.name,
            fix="give one that measures a length, a reference, a height or a work Z",
        )
    parts = [touch_chance(scenario, touch, number) for number, touch in enumerate(plain.touches)]
    extra = _extra(scenario, plain, stage)
    fixed = fixed_causes(scenario, plain)
    lines = []
    for name in names:
        beside = [
            Term(cause, "drawn in the twin", spread[name][1], spread[name][0])
            for cause, spread in extra.items()
            if name in spread
        ]
        known = {cause: shift[name] for cause, shift in fixed.items() if name in shift}
        beside += [Term(cause, "fixed", 0.0, shift) for cause, shift in known.items()]
        rest = plain.errors[name] - sum(known.values())
        beside.append(Term("stored before, and rounding of steps", "fixed", 0.0, rest))
        beside += _varied_terms(scenario, varies, name)
        terms = _touch_terms(moved[name], parts) + beside
        drawn = _drawn(moved[name], parts, beside)
        kept = [t for t in terms if t.deviation > _NOTHING_MM or abs(t.bias) > _NOTHING_MM]
        lines.append(Line(name, kept, moved[name], drawn))
    return Budget(lines, plain.touches, [part.deviation for part in parts])


# ---- all touches of a number ------------------------------------------------------------------


def _touch_terms(moved: list[float], parts: list[TouchChance]) -> list[Term]:
    """Scatter by cause in squares; lateness by cause with its sign."""
    pairs = [(c, part) for c, part in zip(moved, parts, strict=True) if c != 0.0]
    weight = sum(abs(c) for c, _ in pairs)
    # The feed that all touches would have if they were alike.
    slope = sum(abs(c) * part.slope for c, part in pairs) / weight
    unlike = sum(c * (part.slope - slope) * part.mean_s for c, part in pairs)

    def term(cause: str, shape: str, which: str) -> Term:
        scatter = sum((c * part.slope * getattr(part, which)[1]) ** 2 for c, part in pairs)
        bias = sum(c * slope * getattr(part, which)[0] for c, part in pairs)
        return Term(cause, shape, sqrt(scatter), bias)

    return [
        Term("repeatability", "normal", sqrt(sum((c * part.repeat) ** 2 for c, part in pairs))),
        term("bounce and filter", "drawn", "bounce"),
        term("scan", "rectangular", "scan"),
        term("link", "rectangular", "link"),
        Term("following error", "shared", 0.0, sum(c * slope * part.lag for c, part in pairs)),
        Term("unlike feeds", "unlike feeds", 0.0, unlike),
        Term(
            "encoder step",
            "drawn" if any(part.coarse for _, part in pairs) else "rectangular",
            sqrt(sum((c * part.rounding[1]) ** 2 for c, part in pairs)),
            sum(c * part.rounding[0] for c, part in pairs),
        ),
    ]


def _drawn(moved: list[float], parts: list[TouchChance], others: list[Term]) -> NDArray[np.float64]:
    """Draws of the whole model; what is not in the touches adds as normal, with its bias."""
    total = np.zeros(DRAWS)
    for c, part in zip(moved, parts, strict=True):
        if c != 0.0:
            total = total + c * part.draws
    chance = np.random.Generator(np.random.PCG64(1))
    for term in others:
        total = total + term.bias + term.deviation * chance.standard_normal(DRAWS)
    return total


# ---- what is not in a touch ------------------------------------------------------------------


def _extra(
    scenario: Scenario, plain: Probed, stage: Stage
) -> dict[str, dict[str, tuple[float, float]]]:
    """Sources beside the touches: mean shift and deviation of each number, source by source."""
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for source in sorted(plain.asked - _MODELLED):
        only = frozenset({source})
        runs: list[dict[str, float]] = []
        for seed in range(_RUNS):
            runs.append(probe(scenario, only=only, seed=seed, stage=stage).errors)
            if seed == _FIRST_RUNS and all(run == plain.errors for run in runs):
                break
        spread = {}
        for name, error in plain.errors.items():
            values = [run[name] - error for run in runs if name in run]
            mean = sum(values) / max(len(values), 1)
            square = sum((v - mean) ** 2 for v in values) / max(len(values) - 1, 1)
            spread[name] = (mean, sqrt(square))
        found[_WORDS.get(source, source)] = spread
    return found


def _varied_terms(scenario: Scenario, varies: Sequence[Vary], name: str) -> list[Term]:
    """What a varied parameter adds: half the change of the mean from one sigma below to above."""
    terms = []
    for vary in varies:
        values = _ends(vary)
        found = [_mean_error(scenario, vary, value, name) for value in values]
        means = [mean for mean in found if mean is not None]
        if len(means) < 2:
            continue
        middle = sum(means) / len(means)
        square = sum((mean - middle) ** 2 for mean in means) / len(means)
        centre = _mean_error(scenario, vary, None, name) or 0.0
        terms.append(Term(f"varied {vary.typed}", vary.kind, sqrt(square), middle - centre))
    return terms


def _ends(vary: Vary) -> tuple[Any, ...]:
    if vary.kind not in ("normal", "uniform") or vary.moments is None:
        return vary.values
    mean, sigma = vary.moments
    factor = vary.key.factor
    return (mean - sigma) / factor, (mean + sigma) / factor


def _mean_error(scenario: Scenario, vary: Vary, value: Any, name: str) -> float | None:
    """The mean error of a number with one parameter at this value (None: as it is)."""
    changed = scenario
    if value is not None:
        pinned = Vary(vary.typed, vary.key, "list", (value,))
        changed = Variation(scenario, [pinned]).at(0, 0).scenario
    stage = Stage(changed)
    plain = probe(changed, stage=stage)
    if name not in plain.errors:
        return None
    moved = sensitivities(changed, plain, stage)[name]
    mean = plain.errors[name]
    for number, (c, touch) in enumerate(zip(moved, plain.touches, strict=True)):
        if c != 0.0:
            part = touch_chance(changed, touch, number)
            mean += c * (part.slope * part.mean_s + part.rounding[0])
    return mean
