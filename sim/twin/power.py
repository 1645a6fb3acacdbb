"""Rest, faults, and stopping in need: both stop categories, coasting, and the head's sag."""

from __future__ import annotations

from typing import Any

import simpy

from drytouch.sim.motion import State, along, coast, drop
from drytouch.sim.twin.ending import Ending
from drytouch.sim.twin.line import NO_SOURCE, Line, Vector
from drytouch.sim.twin.state import ZERO


class Power(Ending):
    """How lines end, and how power goes."""

    def _rest(self, t: float) -> None:
        line = self.line
        assert line is not None
        if not line.outcome:
            line.outcome = (
                "e-stop"
                if self.estopped
                else "trigger"
                if line.triggered
                else "released"
                if line.released
                else "goal"
            )
        self._end(line, t, line.track.end_s)
        if line.outcome == "e-stop" and self.powered:
            self._power_off(t, line.done)
            return
        if line.kind in ("coast", "sag"):
            self._run_down_further(line, t)
            return
        self._finish(line)

    def _fault(self, t: float) -> None:
        """The drive gives up: the command jumps to where the axis is, and the power goes."""
        line = self.line
        if line is None:
            return
        line.outcome = "fault"
        self.powered = False
        self.recorder.event(t, "drive-fault", None)
        self.judge.drive_fault(line, t)
        self._end(line, t, line.block)
        self._let_go()
        self._finish(line)

    def emergency_stop(self) -> None:
        """Press the button; it acts after the machine's reaction time."""
        t = self.agenda.command()
        self.recorder.event(t, "e-stop", None)
        if self.agenda.due("power") is None and not self.estopped:
            self.agenda.set("power", t + self.machine.emergency_stop.reaction_s)

    def drives_off(self) -> None:
        """An orderly power-off at rest: the brake holds first, so nothing sags."""
        self.agenda.command()
        self.powered = False
        self._let_go()

    def _let_go(self) -> None:
        """Without power nothing presses: the command is where the axis is."""
        command, press = self.command, self.press
        self.command = (command[0] - press[0], command[1] - press[1], command[2] - press[2])
        self.press, self.press_hit = ZERO, None

    def _power(self, t: float) -> None:
        """The emergency stop acts: category 0 cuts the power, 1 stops under control first."""
        self.estopped = True
        line = self.line
        if line is None:
            if self.powered:  # else the brake holds already
                self._power_off(t, simpy.Event(self.env))
        elif self.machine.emergency_stop.category == 1:
            line.stopping = True
            line.outcome = "e-stop"
            self.plan(t)
        else:
            s, v, _ = line.track.state_at(t - line.delay)
            line.outcome = "e-stop"
            speed = v if s < line.block else 0.0
            line.coasts = speed > 0.0
            line.track.cut(t)
            self._end(line, t, min(s, line.block))
            self.powered = False
            self._let_go()
            self._coast(line, line.heading(s), speed, t)

    def _power_off(self, t: float, done: simpy.Event) -> None:
        self.powered = False
        self._let_go()
        self._sag(t, done)

    def _coast(self, line: Line, heading: Vector, speed: float, t: float) -> None:
        """Run down by friction from the actual speed, straight on."""
        if speed <= 0.0:
            self._sag(t, line.done)
            return
        deceleration = self.machine.emergency_stop.coast_deceleration_mm_per_s2
        pieces = coast(State(0.0, speed, 0.0), t, deceleration)
        self._free_run("coast", heading, pieces, t, line.done, line)

    def _sag(self, t: float, done: simpy.Event) -> None:
        """The head drops a little before its brake holds."""
        stop_ = self.machine.emergency_stop
        head = self.machine.links[self.machine.head_link]
        if stop_.sag_mm > 0.0 and "z" in head:
            pieces = drop(t, stop_.sag_mm, stop_.sag_time_s)
            self._free_run("sag", (0.0, 0.0, -1.0), pieces, t, done, None)
        elif not done.triggered:
            done.succeed(None)

    def _free_run(
        self,
        kind: str,
        direction: Vector,
        pieces: list[Any],
        t: float,
        done: simpy.Event,
        after: Line | None,
    ) -> None:
        limits = along(direction, self.rapid_speeds, self.accelerations, self.jerks, None)
        goal = pieces[-1].s1
        source = after.source if after is not None else NO_SOURCE
        line = Line(
            self.lines, kind, t, self.physical(t), self.command, direction, goal, limits, None,
            0.0, done, source,
        )  # fmt: skip
        self.lines += 1
        self.line = line
        line.outcome = "e-stop"
        line.braking = line.stopping = True
        self._prepare(line, t)
        self.judge.line_started(line, t)
        line.track.append(pieces)
        self._set_rest(line, t)
        self._retime(line, t)

    def _run_down_further(self, line: Line, t: float) -> None:
        self._let_go()
        if line.kind == "coast":
            self._sag(t, line.done)
        else:
            self._finish(line)

    def reset(self) -> None:
        """Pull the button out; the drives stay off until they are switched on."""
        self.agenda.command()
        self.estopped = False
