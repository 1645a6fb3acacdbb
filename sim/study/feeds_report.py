"""What ``feeds`` says of one chain: limits, margin, back-off, curve, and what the twin showed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.feeds import InputChain
from drytouch.sim.study.feeds_proof import Proof, Seen
from drytouch.sim.study.trials_plots import Frame

# Below, at and above: far enough apart to tell, near enough that only the limit lies between.
STEPS = (0.9, 0.999, 1.01, 1.1)
# The twin may be below the formula by what a missed tick is short of a whole one, not above it.
AGREE = 0.001
_PLAIN_RUNS = 20
_CURVE = 60


@dataclass(frozen=True)
class Shown:
    """One feed on the twin beside the formula; mm, feeds in mm/min."""

    feed: float
    worst: Seen
    formula_worst: float
    formula_expected: float
    plain: tuple[Seen, ...]
    allowed: float

    @property
    def plain_mean(self) -> float:
        """Mean overtravel with plain chance."""
        return sum(seen.overtravel_mm for seen in self.plain) / max(len(self.plain), 1)

    @property
    def agrees(self) -> bool:
        """Whether the twin did what the formula says."""
        if self.worst.problem:
            return False
        if self.formula_worst > self.allowed:
            return self.worst.too_much
        near = self.formula_worst * (1.0 - AGREE) <= self.worst.overtravel_mm
        return near and self.worst.overtravel_mm <= self.formula_worst + 1e-9 and (
            not self.worst.too_much
        )  # fmt: skip


@dataclass(frozen=True)
class FeedReport:
    """One chain's feeds."""

    chain: InputChain
    margin: float
    shown: tuple[Shown, ...]

    @property
    def limit(self) -> float:
        """Feed at which the worst case uses all there is, mm/min."""
        return self.chain.root(self.chain.budget[0]) * 60.0

    @property
    def slow_used(self) -> float:
        """The slow feed that the back-off is worked out for, mm/min."""
        return self.chain.slow(True, self.margin)[0] or self.chain.record.slow_mm_per_min

    @property
    def record_back_off(self) -> float:
        """What the record's own feeds need as back-off, mm."""
        record = self.chain.record
        needed = self.chain.back_off(record.fast_mm_per_min, record.slow_mm_per_min)
        return sum(needed.values())

    @property
    def record_is_safe(self) -> bool:
        """Whether the feeds and the back-off in the controller's record are safe."""
        record = self.chain.record
        fast = self.chain.fast(True, self.margin)[0]
        return (
            max(record.fast_mm_per_min, record.slow_mm_per_min) <= fast
            and record.back_off_mm >= self.record_back_off
        )

    @property
    def proved(self) -> bool:
        """Whether every run on the twin did what the formula says."""
        return bool(self.shown) and all(entry.agrees for entry in self.shown)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a report."""
        chain, record = self.chain, self.chain.record
        fast = {case: chain.fast(worst, self.margin) for case, worst in _CASES}
        slow = {case: chain.slow(worst, self.margin) for case, worst in _CASES}
        return {
            "setter": chain.setter_name,
            "tool": chain.tool_name,
            "allowed_overtravel_mm": chain.budget[0],
            "limited_by": chain.budget[1],
            "margin": self.margin,
            "limit_mm_per_min": self.limit,
            "fast_mm_per_min": {k: {"feed": v, "limited_by": w} for k, (v, w) in fast.items()},
            "slow_mm_per_min": {k: {"feed": v, "limited_by": w} for k, (v, w) in slow.items()},
            "lateness_s": {case: chain.causes_s(worst) for case, worst in _CASES},
            "following_error_s": chain.lag_s,
            "back_off_mm": chain.back_off(fast["worst"][0], self.slow_used),
            "record": {
                "fast_mm_per_min": record.fast_mm_per_min,
                "slow_mm_per_min": record.slow_mm_per_min,
                "back_off_mm": record.back_off_mm,
                "back_off_needed_mm": self.record_back_off,
                "overtravel_worst_mm": chain.overtravel(record.fast_mm_per_min / 60.0),
                "safe": self.record_is_safe,
            },
            "twin": [
                {
                    "feed_mm_per_min": entry.feed,
                    "worst_seen_mm": entry.worst.overtravel_mm,
                    "worst_formula_mm": entry.formula_worst,
                    "mean_seen_mm": entry.plain_mean,
                    "expected_formula_mm": entry.formula_expected,
                    "too_much": entry.worst.too_much,
                    "problem": entry.worst.problem,
                    "agrees": entry.agrees,
                }
                for entry in self.shown
            ],
            "curve": [
                {"feed_mm_per_min": f, "worst_mm": w, "expected_mm": e} for f, w, e in self.curve()
            ],
        }

    def curve(self) -> list[tuple[float, float, float]]:
        """Overtravel against feed, from nothing to past the limit: feed, worst, expected."""
        end = 1.25 * max(self.limit, self.chain.record.fast_mm_per_min)
        feeds = [end * i / _CURVE for i in range(_CURVE + 1)]
        of = self.chain.overtravel
        return [(feed, of(feed / 60.0), of(feed / 60.0, False)) for feed in feeds]

    def plot(self) -> str:
        """The curve, the limit, and the feeds in use, as SVG."""
        curve, allowed = self.curve(), self.chain.budget[0]
        top = max(max(worst for _, worst, _ in curve), allowed * 1.1)
        frame = Frame((0.0, curve[-1][0]), (0.0, top), "feed, mm/min", "overtravel, mm")
        frame.line([(feed, worst) for feed, worst, _ in curve])
        frame.line([(feed, expected) for feed, _, expected in curve], "second")
        frame.level(allowed, self.chain.budget[1])
        frame.level(allowed * (1.0 - self.margin), "with margin")
        frame.mark(self.chain.fast(True, self.margin)[0], "highest safe")
        frame.dots(
            [(entry.feed, entry.worst.overtravel_mm) for entry in self.shown
             if not entry.worst.problem]
        )  # fmt: skip
        return frame.svg(
            f"{self.chain.setter_name}: overtravel against feed; full line worst case, dashed "
            "expected, points from the twin"
        )


_CASES = (("worst", True), ("expected", False))


def report_on(scenario: Scenario, chain: InputChain, margin: float) -> FeedReport:
    """Work one chain out and run the twin below, at and above its limit."""
    report = FeedReport(chain, margin, ())
    highest = chain.machine.axes.z.feed_max_mm_per_min
    # Where the axis can't go as fast as the pad would bear, its own highest feed is shown.
    steps = [step for step in STEPS if report.limit * step <= highest]
    feeds = [report.limit * step for step in steps] or [highest * 0.5, highest]
    if report.limit <= 0.0:
        feeds = []
    feeds = sorted({*feeds, *([chain.fast(True, margin)[0]] if feeds else [])})
    proof = Proof(scenario, chain)
    shown = tuple(
        Shown(
            feed,
            proof.worst(feed),
            chain.overtravel(feed / 60.0),
            chain.overtravel(feed / 60.0, worst=False),
            tuple(proof.plain(feed, range(_PLAIN_RUNS))),
            chain.budget[0],
        )
        for feed in feeds
    )
    return FeedReport(chain, margin, shown)
