"""The inset strip: how a pad's travel grew after contact, and what was noticed when."""

from __future__ import annotations

from typing import Any

from drytouch.sim.recording import Recording
from drytouch.viz import look
from drytouch.viz.board import SOFT_RULE, TRACK, K, Pad
from drytouch.viz.presses import Press
from drytouch.viz.units import Units

SIZE = (400.0, 344.0)
PLOT = (56.0, 40.0, 386.0, 176.0)
ROWS_TOP, ROW = 196.0, 20.0
NAMES = ("contact", "first edge", "filter", "scan", "latch", "stop")
TOLD = {
    "contact": "contact", "first edge": "first edge of the switch", "filter": "past the filter",
    "scan": "seen by the scan", "latch": "position latched", "stop": "axis at rest",
}  # fmt: skip
POINTS = 240


class Strip:
    """Draws one press after another; keeps the two pictures of the present one only."""

    def __init__(self, recording: Recording, units: Units) -> None:
        self._recording = recording
        self._units = units
        self._press: Press | None = None
        self._done = 0
        self._before: Any = None
        self._after: Any = None

    def draw(self, press: Press, t: float) -> Any:
        """The strip at ``t`` s, as an array of bytes."""
        done = sum(mark.t <= t + 1e-9 for mark in press.marks)
        if press is not self._press or done != self._done:
            self._press, self._done = press, done
            self._before = self._picture(press, done, curve=False)
            self._after = self._picture(press, done, curve=True)
        x = round(self._x(press, min(t, _last(press))) * K)
        picture = self._before.copy()
        picture[:, :x] = self._after[:, :x]
        if t < _last(press):
            top, bottom = round(PLOT[1] * K), round(PLOT[3] * K)
            picture[top:bottom, x : x + 2] = (22, 32, 43)
        self._now(picture, press, t)
        return picture

    def _now(self, picture: Any, press: Press, t: float) -> None:
        """How deep it is at this moment, in large figures."""
        depth = self._recording.pad_depth_at(press.setter, min(t, press.end))
        pad = Pad((150, 28))
        pad.text(148, 22, self._units.small(depth), 20, look.INK, True, "rs")
        piece = pad.pixels()
        right = picture.shape[1] - round(12 * K)
        picture[round(3 * K) : round(3 * K) + piece.shape[0], right - piece.shape[1] : right] = (
            piece
        )

    def _picture(self, press: Press, done: int, curve: bool) -> Any:
        pad = Pad(SIZE)
        left, top, right, bottom = PLOT
        pad.line([(0, 1), (SIZE[0], 1)], look.RULE, 1.5)
        pad.text(14, 24, f"Pad travel, {self._units.small_unit}", 18, look.INK, True)
        pad.box((left, top, right, bottom), TRACK)
        highest = self._highest(press)
        self._levels(pad, press, highest)
        if curve:
            start, end = press.contact, _last(press)
            points = []
            for i in range(POINTS + 1):
                t = start + (end - start) * i / POINTS
                depth = self._recording.pad_depth_at(press.setter, t)
                points.append((self._x(press, t), self._y(depth, highest)))
            pad.line(points, "#0b62a4", 3.0)
            self._numbers(pad, press, done, highest)
        self._table(pad, press, done)
        return pad.pixels()

    def _levels(self, pad: Pad, press: Press, highest: float) -> None:
        left, _, right, bottom = PLOT
        units = self._units
        step = _round_step(units.small_value(highest))
        level = 0.0
        while level <= units.small_value(highest):
            y = self._y(level / units.small_value(1.0), highest)
            pad.line([(left, y), (right, y)], SOFT_RULE, 1.0)
            pad.text(left - 6, y + 5, f"{level:g}", 13, look.INK_SOFT, anchor="rs")
            level += step
        if press.limit_mm is not None and press.limit_mm <= highest:
            y = self._y(press.limit_mm, highest)
            pad.line([(left, y), (right, y)], "#a3262a", 2.5)
            pad.text(left + 6, y + 15, "solid from here", 13, "#a3262a", True)
        span = (_last(press) - press.contact) * 1000.0
        pad.text(left, bottom + 15, "0 ms", 13, look.INK_SOFT)
        pad.text(right, bottom + 15, f"{span:.3g} ms after contact", 13, look.INK_SOFT, anchor="rs")

    def _numbers(self, pad: Pad, press: Press, done: int, highest: float) -> None:
        # Marks that come together share a place; the table below tells them apart.
        taken: list[float] = []
        for number, mark in enumerate(press.marks[:done], 1):
            x = self._x(press, mark.t)
            y = self._y(mark.depth_mm, highest)
            pad.disc(x, y, 3.5, look.PAPER, "#0b62a4")
            if not taken or x - taken[-1] > 14:
                pad.text(x, y - 8 if y > PLOT[1] + 22 else y + 20, str(number), 14, look.INK, True,
                         "ms")  # fmt: skip
                taken.append(x)

    def _table(self, pad: Pad, press: Press, done: int) -> None:
        y = ROWS_TOP
        for number, mark in enumerate(press.marks, 1):
            seen = number <= done
            colour = look.INK if seen else "#9aa5b0"
            y += ROW
            pad.text(16, y, f"{number}", 15, colour, True)
            pad.text(34, y, TOLD[mark.name], 15, colour)
            if seen:
                pad.text(292, y, f"{(mark.t - press.contact) * 1000.0:.1f} ms", 15, colour,
                         anchor="rs")  # fmt: skip
                pad.text(388, y, self._units.small(mark.depth_mm), 15, colour, True, "rs")
        stopped = done == len(press.marks)
        if press.limit_mm is not None and stopped:
            left = max(press.limit_mm - press.marks[-1].depth_mm, 0.0)
            colour = "#a3262a" if left < 1e-6 else look.INK
            said = "NONE" if left < 1e-6 else self._units.length(left)
            pad.text(16, y + ROW, "overtravel left", 15, colour, True)
            pad.text(388, y + ROW, said, 15, colour, True, "rs")

    def _highest(self, press: Press) -> float:
        deepest = max(mark.depth_mm for mark in press.marks)
        return max(deepest * 1.15, 1e-3)

    def _x(self, press: Press, t: float) -> float:
        span = max(_last(press) - press.contact, 1e-9)
        return PLOT[0] + (PLOT[2] - PLOT[0]) * min(max((t - press.contact) / span, 0.0), 1.0)

    def _y(self, depth: float, highest: float) -> float:
        """Down is down: a pad that is pressed sinks in the picture too."""
        return PLOT[1] + (PLOT[3] - PLOT[1]) * depth / highest


def _round_step(highest: float) -> float:
    """A round step that divides the height into two to five."""
    steps = (n * 10.0**e for e in range(-3, 6) for n in (1, 2, 5))
    return next((step for step in steps if highest / step < 5.0), highest)


def _last(press: Press) -> float:
    """The strip ends a little after rest, where there is an after."""
    since = press.contact if press.trip is None else press.trip
    return min(press.rest + 0.1 * (press.rest - since), max(press.end, press.rest))
