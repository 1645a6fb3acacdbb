"""Plots of a study as plain SVG: bars, points and lines with axes; nothing is fetched."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import floor, isfinite, log10

WIDTH, HEIGHT = 460, 240
_LEFT, _RIGHT, _TOP, _BOTTOM = 62, 14, 14, 44
Point = tuple[float, float]


def ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Round values between two ends, about as many as wanted."""
    if not high > low:
        return [low]
    rough = (high - low) / wanted
    base = 10.0 ** floor(log10(rough))
    step = next(base * m for m in (1, 2, 5, 10) if base * m >= rough * 0.999)
    first = floor(low / step + 1e-9)
    if first * step < low - 1e-9 * step:
        first += 1
    return [
        round((first + i) * step, 12) for i in range(50) if (first + i) * step <= high + 1e-9 * step
    ]


class Frame:
    """Axes with their words, and from values to the picture."""

    def __init__(self, x: Point, y: Point, x_words: str, y_words: str) -> None:
        self._x, self._y = _opened(x), _opened(y)
        self._words = x_words, y_words
        self._parts: list[str] = []

    def at(self, x: float, y: float) -> Point:
        """Where a value stands in the picture."""
        (x0, x1), (y0, y1) = self._x, self._y
        across = (x - x0) / (x1 - x0) * (WIDTH - _LEFT - _RIGHT)
        up = (y - y0) / (y1 - y0) * (HEIGHT - _TOP - _BOTTOM)
        return _LEFT + across, HEIGHT - _BOTTOM - up

    def bar(self, x0: float, x1: float, y: float) -> None:
        """A bar from the bottom up to ``y``."""
        left, top = self.at(x0, y)
        right, bottom = self.at(x1, self._y[0])
        self._parts.append(
            f'<rect class="bar" x="{left:.1f}" y="{top:.1f}" '
            f'width="{max(right - left - 0.5, 0.5):.1f}" height="{max(bottom - top, 0):.1f}"/>'
        )

    def dots(self, points: Sequence[Point]) -> None:
        """Points."""
        for x, y in points:
            px, py = self.at(x, y)
            self._parts.append(f'<circle class="dot" cx="{px:.1f}" cy="{py:.1f}" r="1.8"/>')

    def line(self, points: Sequence[Point], kind: str = "line") -> None:
        """A line through points."""
        path = " ".join(f"{px:.1f},{py:.1f}" for px, py in (self.at(*point) for point in points))
        self._parts.append(f'<polyline class="{kind}" points="{path}"/>')

    def level(self, y: float, words: str) -> None:
        """A horizontal limit with its name."""
        if self._y[0] <= y <= self._y[1]:
            self.line([(self._x[0], y), (self._x[1], y)], "limit")
            _, py = self.at(0.0, y)
            self._text(WIDTH - _RIGHT - 3, py - 4, words, "end")

    def mark(self, x: float, words: str) -> None:
        """A vertical limit with its name."""
        if self._x[0] <= x <= self._x[1]:
            self.line([(x, self._y[0]), (x, self._y[1])], "limit")
            self._text(self.at(x, 0.0)[0] + 3, _TOP + 9, words, "start")

    def _text(self, x: float, y: float, words: str, anchor: str = "middle") -> None:
        self._parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def svg(self, title: str) -> str:
        """The picture."""
        for value in ticks(*self._x):
            px, _ = self.at(value, 0.0)
            self._parts.append(f'<path class="grid" d="M{px:.1f} {_TOP}V{HEIGHT - _BOTTOM}"/>')
            self._text(px, HEIGHT - _BOTTOM + 14, f"{value:g}")
        for value in ticks(*self._y, 4):
            _, py = self.at(self._x[0], value)
            self._parts.append(f'<path class="grid" d="M{_LEFT} {py:.1f}H{WIDTH - _RIGHT}"/>')
            self._text(_LEFT - 5, py + 3.5, f"{value:g}", "end")
        self._text((_LEFT + WIDTH - _RIGHT) / 2, HEIGHT - 10, self._words[0])
        middle = (HEIGHT - _BOTTOM + _TOP) / 2
        self._parts.append(
            f'<text text-anchor="middle" transform="translate(13 {middle:.0f}) rotate(-90)">'
            f"{escape(self._words[1])}</text>"
        )
        return (
            f'<figure><svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            f'aria-label="{escape(title)}">{"".join(self._parts)}</svg>'
            f"<figcaption>{escape(title)}</figcaption></figure>"
        )


def _opened(ends: Point) -> Point:
    """Ends that lie apart, so that a single value still has a place."""
    low, high = ends
    if not (isfinite(low) and isfinite(high)):
        raise ValueError(f"a plot can't reach from {low} to {high}")
    if high > low:
        return low, high
    room = abs(low) * 0.01 or 1.0
    return low - room, high + room


STYLE = """
body{font:15px/1.5 system-ui,sans-serif;max-width:60rem;margin:1.5rem auto;padding:0 1rem;
color:#1d2733;background:#fff}
table{border-collapse:collapse;margin:.5rem 0 1.2rem;display:block;overflow-x:auto}
td,th{padding:.2rem .7rem;border-bottom:1px solid #d5dbe2;text-align:right}
td:first-child,th:first-child{text-align:left}
figure{display:inline-block;margin:.4rem;width:460px;max-width:100%}
figcaption{font-size:13px;text-align:center}
svg{width:100%;height:auto}svg text{font:10.5px system-ui,sans-serif;fill:currentColor}
.bar{fill:#3a6ea5}.dot{fill:#3a6ea5;fill-opacity:.5}
.line{fill:none;stroke:#3a6ea5;stroke-width:1.8}
.second{fill:none;stroke:#3f8f6b;stroke-width:1.8;stroke-dasharray:5 3}
.limit{fill:none;stroke:#b4552d;stroke-width:1.2}
.grid{stroke:#8893a0;stroke-opacity:.25;stroke-width:.7}
@media(prefers-color-scheme:dark){body{background:#14191f;color:#dde4ec}
td,th{border-color:#333d49}.bar,.dot{fill:#7fb0e0}.line{stroke:#7fb0e0}.second{stroke:#79c9a2}
.limit{stroke:#e08a5f}}
"""


def page(title: str, parts: Sequence[str], caution: str) -> str:
    """One self-contained page."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>"
        f"<h1>{escape(title)}</h1>{''.join(parts)}<p><em>Caution: {escape(caution)}</em></p>"
        "</body></html>\n"
    )


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table; the first column holds names."""
    head = "".join(f"<th>{escape(text)}</th>" for text in heads)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in row) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
