"""The end of a line: what it leaves behind, and its entry in the recording."""

from __future__ import annotations

from math import inf

from drytouch.sim.recording import LineEntry
from drytouch.sim.twin.line import LEAST_MOVE_MM, Line
from drytouch.sim.twin.meeting import Meeting
from drytouch.sim.twin.sliding import slide_setters
from drytouch.sim.twin.state import ZERO


class Ending(Meeting):
    """Closing a line's account."""

    def _finish(self, line: Line) -> None:
        if not line.done.triggered:
            line.done.succeed(line)

    def _end(self, line: Line, t: float, s: float) -> None:
        """The line is over with the (delayed) command at ``s``: keep what it leaves behind."""
        self.agenda.clear("rest", "stop", "fault", "stall", *self.targets)
        self.targets.clear()
        blocked = line.block < inf
        walked = min(s, line.block)
        for pad in self.pads.values():
            if pad.touching:
                # Inside its lost motion the line has moved nothing yet.
                pad.depth = pad.depth_at(max(walked, line.dead))
                pad.deepest = max(pad.deepest, pad.depth)
        pressed_mm = line.dead - line.take_up  # of the dead path, this comes first
        self._keep_lost_motion(line, walked - pressed_mm)
        self.command = line.command_at(s)
        if line.outcome == "goal" and abs(s - line.goal) <= LEAST_MOVE_MM and line.data is not None:
            self.command = line.data  # the exact target, free of rounding along the path
        if not blocked:
            u = line.direction
            if pressed_mm > 0.0 and pressed_mm - s <= LEAST_MOVE_MM:
                self.press, self.press_hit = ZERO, None
            elif pressed_mm > 0.0:
                self.press = (
                    self.press[0] + u[0] * s,
                    self.press[1] + u[1] * s,
                    self.press[2] + u[2] * s,
                )
        else:
            self._keep_press(line, s)
        self._record(line, t)
        self.line = None
        self.judge.line_ended(line, t, walked)
        if line.goes_across:
            for pad in self.pads.values():
                if pad.touching:
                    self._let_go_of(pad, self.physical(t), t)
        if self.stage.loose:
            slide_setters(self, line, walked, t)

    def _keep_lost_motion(self, line: Line, walked: float) -> None:
        if line.take_up == 0.0:
            return
        axis = max(range(3), key=lambda i: abs(line.direction[i]))
        moved = min(max(walked, 0.0), line.take_up)
        lost = list(self.lost)
        lost[axis] += -moved if line.direction[axis] > 0.0 else moved
        self.lost = (lost[0], lost[1], lost[2])

    def _keep_press(self, line: Line, s: float) -> None:
        u, over = line.direction, s - line.block
        # What earlier lines have pressed stays, unless this one has first come free of it.
        old = ZERO if line.dead > line.take_up else self.press
        total = (old[0] + u[0] * over, old[1] + u[1] * over, old[2] + u[2] * over)
        if line.stalled:
            # An open-loop axis has slipped: where it thinks it is has become untrue.
            shift = self.shift
            self.shift = (shift[0] - total[0], shift[1] - total[1], shift[2] - total[2])
            total = ZERO
        self.press = total

    def _record(self, line: Line, t: float) -> None:
        self.recorder.line(
            LineEntry(
                line.id,
                line.kind,
                line.t0,
                t,
                line.start,
                line.direction,
                None if line.arc is None else line.arc.entry(line.start),
                line.command,
                line.dead,
                line.delay,
                line.track.pieces,
                None if line.block == inf else max(line.block - line.dead, 0.0),
                line.source,
            )
        )
