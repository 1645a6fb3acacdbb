"""Where a tool that is dragged across a pressed pad comes off it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.twin.line import Line, Vector

if TYPE_CHECKING:
    from drytouch.sim.setter import Pad
    from drytouch.sim.twin.meeting import Meeting

# Looked at so finely that no gap between two edges of a ring is stepped over, and at most so often.
LOOK_MM, MOST_LOOKS = 1.0, 400
# A hundredth of what an encoder tells: when it came off is then exact to a microsecond.
EXACT_MM = 1e-6


def slips_at(kernel: Meeting, pad: Pad, line: Line) -> float | None:
    """Commanded path (mm) at which nothing is over a touched pad any more; None: it stays on.

    Between two looks the tool is taken to come off once, which holds for anything that is wider
    than the way between them.
    """
    on, end = max(pad.line_from, line.dead), line.goal
    step = max(LOOK_MM, (end - on) / MOST_LOOKS)
    while on < end:
        ahead = min(on + step, end)
        if not _over(kernel, pad, line, ahead):
            return _edge(kernel, pad, line, on, ahead)
        on = ahead
    return None


def _edge(kernel: Meeting, pad: Pad, line: Line, on: float, off: float) -> float:
    while off - on > EXACT_MM:
        middle = (on + off) / 2.0
        if _over(kernel, pad, line, middle):
            on = middle
        else:
            off = middle
    return off


def _over(kernel: Meeting, pad: Pad, line: Line, s: float) -> bool:
    face: Vector = line.physical_at(s)
    return kernel.something_over(pad, face, pad.depth_at(s))
