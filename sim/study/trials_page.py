"""The page of a set of trials: rates, spreads, histograms, and errors against what varied."""

from __future__ import annotations

from html import escape
from typing import Any

from drytouch.sim.study.trials_plots import Frame, Point, page, table
from drytouch.sim.study.trials_summary import BARS, Summary

UM_PER_MM = 1e3


def trials_page(summary: Summary, caution: str) -> str:
    """One self-contained page."""
    plan = summary.plan
    title = f"{plan.scenario.title or plan.scenario.name}: {summary.count} trials"
    varied = "".join(
        f"<li>{escape(v.typed)}: {v.kind} {escape(', '.join(map(str, v.values[:12])))}"
        f"{' ...' if len(v.values) > 12 else ''}</li>"
        for v in plan.varies
    )
    parts = [
        f"<p>Seeds {plan.seed} to {plan.seed + summary.count - 1}. "
        f"Expected verdict: {summary.wanted}.</p>",
        f"<h2>What varied</h2><ul>{varied}</ul>" if varied else "",
        "<h2>What came of it</h2>",
        _rates(summary),
        "<h2>Errors</h2>" if summary.errors else "",
        _numbers(summary),
        *_histograms(summary),
        *_scatters(summary),
    ]
    return page(title, parts, caution)


def _rates(summary: Summary) -> str:
    rows = []
    for what, counts in (
        ("verdict", summary.verdicts),
        ("finding", summary.findings),
        ("alarm", summary.alarms),
    ):
        for name, hits in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            rate = summary.rate(hits)
            rows.append(
                [f"{what} {name}", str(hits), f"{rate['rate']:.2%}",
                 f"{rate['low']:.2%} to {rate['high']:.2%}"]
            )  # fmt: skip
    return table(["", "trials", "rate", "95 % interval"], rows)


def _numbers(summary: Summary) -> str:
    rows = []
    for name, spread in summary.errors.items():
        inside = summary.inside[name] / spread.count
        rows.append(
            [name, str(spread.count),
             *(f"{value * UM_PER_MM:.3f}" for value in (
                 spread.mean, spread.deviation, spread.quantile(0.05), spread.quantile(0.95),
                 spread.within(0.95), spread.low, spread.high)),
             f"{inside:.2%}"]
        )  # fmt: skip
    if not rows:
        return ""
    heads = ["error, um", "trials", "mean", "deviation", "5 %", "95 %", "95 % within ±",
             "lowest", "highest", "inside tolerance"]  # fmt: skip
    return table(heads, rows)


def _histograms(summary: Summary) -> list[str]:
    drawn = []
    for name, spread in summary.errors.items():
        low, high, counts = spread.histogram(BARS)
        low, high = low * UM_PER_MM, high * UM_PER_MM
        frame = Frame((low, high), (0.0, float(max(counts))), "error, um", "trials")
        width = (high - low) / len(counts)
        for place, count in enumerate(counts):
            frame.bar(low + place * width, low + (place + 1) * width, count)
        drawn.append(frame.svg(f"{name}: {spread.count} trials"))
    return drawn


def _scatters(summary: Summary) -> list[str]:
    drawn = []
    for place, vary in enumerate(summary.plan.varies):
        for name in summary.errors:
            points = _points(summary.points.rows, place, name)
            if points:
                xs, ys = [x for x, _ in points], [y for _, y in points]
                frame = Frame((min(xs), max(xs)), (min(ys), max(ys)), vary.typed, "error, um")
                frame.dots(points)
                drawn.append(frame.svg(f"{name} against {vary.typed}: {len(points)} trials"))
    return [f"<h2>Against what varied</h2>{''.join(drawn)}"] if drawn else []


def _points(rows: list[Any], place: int, name: str) -> list[Point]:
    points = []
    for _, (values, errors) in rows:
        value, error = values[place], errors.get(name)
        if error is not None and isinstance(value, int | float) and not isinstance(value, bool):
            points.append((float(value), error * UM_PER_MM))
    return points
