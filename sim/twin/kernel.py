"""The event kernel: lines, contact, signals and stops as roots on one agenda.

Nothing is stepped in time. A line's plan gives exact cubics; each thing that can happen on it is a
path level whose time is a root. Commands settle physics up to now, change a flag and re-plan once.
The plan is a function of the state and the flags alone, so that the order of commands at one
instant can't matter: off > emergency stop > fault > trigger > hold > released jog > goal.

The layers, each in its own module: state, signalling, planning, meeting, ending, power, and this.
"""

from __future__ import annotations

from functools import partial
from math import pi
from typing import TYPE_CHECKING, Any

import simpy

from drytouch.sim.errors import DrytouchError
from drytouch.sim.motion import along
from drytouch.sim.recording import Recorder, Source
from drytouch.sim.setter import Pad
from drytouch.sim.signals import Input, Wire
from drytouch.sim.twin.agenda import Clock
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.line import LEAST_MOVE_MM, NO_SOURCE, Line, Vector
from drytouch.sim.twin.power import Power

if TYPE_CHECKING:
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.scenario.scenario import Noise
    from drytouch.sim.twin.stage import Stage

__all__ = ["LEAST_MOVE_MM", "Kernel"]


class Kernel(Power):
    """Axes, pads, wires and inputs of one twin, driven by lines and flags."""

    def __init__(
        self,
        env: Clock,
        machine: Machine,
        stage: Stage,
        noise: Noise,
        chance: Chance,
        recorder: Recorder,
    ) -> None:
        super().__init__(env, machine, stage, noise, chance, recorder)
        for name in ("hard", "limit", "fault", "stall", "power", "stop", "rest"):
            self.agenda.register(name, getattr(self, f"_{name}"))
        for socket_name, socket in machine.sockets.items():
            entry = Input(socket.input, socket_name, socket.filter_s, socket.scan_s)
            self.inputs[socket.input] = entry
            self.agenda.register(entry.slots[0], partial(self._edge, entry))
            self.agenda.register(entry.slots[1], partial(self._filter, entry))
            self.agenda.register(entry.slots[2], partial(self._scan, entry))

    def add_setter(self, pad: Pad) -> None:
        """Let the twin have one more setter."""
        self.pads[pad.name] = pad
        self.wires[pad.name] = wire = Wire(pad.name, pad.setter, self.noise)
        handlers = {
            "contact": self._contact,
            "close": self._close,
            "open": self._open,
            "leave": self._leave,
            "solid": self._solid,
        }
        for kind, slot in pad.slots.items():
            self.agenda.register(slot, partial(handlers[kind], pad))
        self.agenda.register(wire.slot, partial(self._noise, wire))

    def start(
        self,
        kind: str,
        direction: Vector,
        goal: float,
        feed_mm_per_s: float | None = None,
        watch: int | None = None,
        source: Source = NO_SOURCE,
        arc: Any = None,
        data: Any = None,
    ) -> Line:
        """Begin a line of ``goal`` mm along ``direction`` (unit); no feed means rapid.

        The caller has checked that the machine may move and that no line runs.
        """
        t = self.agenda.command()
        speeds = self.rapid_speeds if feed_mm_per_s is None else self.feed_speeds
        if kind in ("jog", "home"):
            speeds = self.rapid_speeds
        limits = along(direction, speeds, self.accelerations, self.jerks, None)
        if arc is not None:
            limits = arc.limits(self.feed_speeds, self.accelerations, self.jerks)
        line = Line(
            self.lines,
            kind,
            t,
            self.physical(t),
            self.command,
            direction,
            goal,
            limits,
            feed_mm_per_s,
            self.delay,
            simpy.Event(self.env),
            source,
            arc,
        )
        line.data = data
        self.lines += 1
        self.line = line
        if watch is not None:
            line.watch = watch
            entry = self.inputs[watch]
            entry.phase = self.chance.uniform("scan", entry.scan_s)
            tick = self.machine.servo.tick_s
            self.servo_phase = self.chance.uniform("servo-tick", tick)
        try:
            self._prepare(line, t)
            self.judge.line_started(line, t)
            self.tell(kind, t)
            self.plan(t)
        except DrytouchError:
            self.line = None  # what can't be laid out does not run
            raise
        return line

    def start_homing(self, index: int, source: Source) -> Line | None:
        """Send one axis to its switch, which stands where it really stands."""
        t = self.agenda.command()
        axis = self.axes[index]
        way = axis.home_mm + self.homing_error[index] - self.physical(t)[index]
        if abs(way) <= LEAST_MOVE_MM:
            return None
        sign = 1.0 if way > 0.0 else -1.0
        direction = tuple(sign if i == index else 0.0 for i in range(3))
        feed = axis.homing_mm_per_min / 60.0
        return self.start("home", direction, abs(way), feed, None, source)  # type: ignore[arg-type]

    def finish_homing(self, index: int) -> None:
        """The switch is found: from now on the readout says home there, wrong or right."""
        t = self.agenda.command()
        here = self.physical(t)[index]
        command, shift = list(self.command), list(self.shift)
        command[index] = self.axes[index].home_mm
        others = self.offset(t)[index] - shift[index]
        shift[index] = here - command[index] - others
        self.command = (command[0], command[1], command[2])
        self.shift = (shift[0], shift[1], shift[2])

    def spin(self, rpm: float) -> None:
        """Start, stop or change the spindle's speed; positive turns a right-hand tool to cut."""
        t = self.agenda.command()
        if self.machine.spindle.growth_mm > 0.0:
            self.warmth = self.growth(t) / self.machine.spindle.growth_mm
        self.warmth_time = t
        self.rpm = rpm
        self.stage.turning(rpm != 0.0, self.recorder, t)
        self.recorder.spindle(t, self.stage.angle_deg * pi / 180.0, rpm)

    def turn_to(self, angle_deg: float) -> None:
        """The spindle now stands at an angle, with what is in it."""
        t = self.agenda.command()
        self.stage.turn_to(angle_deg, self.recorder, t)
        self.recorder.spindle(t, angle_deg * pi / 180.0, 0.0)

    def set_hold(self, on: bool) -> None:
        """Feed hold, or go on."""
        t = self.agenda.command()
        if self.hold != on:
            self.hold = on
            self.recorder.event(t, "hold", on)
            self._replan(t)

    def set_override(self, rapid: float | None = None, feed: float | None = None) -> None:
        """Turn the override knobs; 1.0 is 100 %."""
        t = self.agenda.command()
        old = (self.rapid_override, self.feed_override)
        self.rapid_override = self.rapid_override if rapid is None else rapid
        self.feed_override = self.feed_override if feed is None else feed
        if (self.rapid_override, self.feed_override) != old:
            self.recorder.event(t, "override", [self.rapid_override, self.feed_override])
            self._replan(t)

    def release(self) -> None:
        """The jog key is let go."""
        t = self.agenda.command()
        if self.line is not None and self.line.kind == "jog" and not self.line.released:
            self.line.released = self.line.stopping = True
            # Letting the key go while an emergency stop brakes must not keep the power on.
            self.line.outcome = self.line.outcome or "released"
            self._replan(t)

    def _replan(self, t: float) -> None:
        self.plan(t)
