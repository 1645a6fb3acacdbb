"""What a twin's physics keeps: axes, shifts, pads, wires, inputs, and where things are."""

from __future__ import annotations

from collections.abc import Callable
from math import exp
from typing import TYPE_CHECKING, Any

from drytouch.sim.motion import delay_s
from drytouch.sim.recording import Recorder
from drytouch.sim.twin.agenda import Clock
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.line import Line, Vector

if TYPE_CHECKING:
    from drytouch.sim.scenario.machine import Axis, Machine
    from drytouch.sim.scenario.scenario import Noise
    from drytouch.sim.setter import Pad
    from drytouch.sim.signals import Input, Wire
    from drytouch.sim.truth.judge import Judge
    from drytouch.sim.twin.stage import Stage

ZERO: Vector = (0.0, 0.0, 0.0)


class KernelState:
    """State of the event kernel; the layers above it add what happens."""

    def __init__(
        self,
        env: Clock,
        machine: Machine,
        stage: Stage,
        noise: Noise,
        chance: Chance,
        recorder: Recorder,
    ) -> None:
        self.env = env
        self.machine = machine
        self.stage = stage
        self.noise = noise
        self.chance = chance
        self.recorder = recorder
        self.judge: Judge
        self.agenda = env.agenda
        self.line: Line | None = None
        self.lines = 0
        axes = (machine.axes.x, machine.axes.y, machine.axes.z)
        self.axes: tuple[Axis, Axis, Axis] = axes
        self.rapid_speeds = tuple(axis.rapid_mm_per_min / 60.0 for axis in axes)
        self.feed_speeds = tuple(axis.feed_max_mm_per_min / 60.0 for axis in axes)
        self.accelerations = tuple(axis.acceleration_mm_per_s2 for axis in axes)
        self.jerks = tuple(axis.jerk_mm_per_s3 for axis in axes)
        self.stepper = machine.servo.drive == "stepper"
        # An open-loop stepper follows its command as long as it follows at all.
        self.delay = (
            0.0
            if self.stepper
            else delay_s(machine.servo.position_gain_per_s, machine.servo.feed_forward)
        )
        self.command: Vector = tuple(axis.home_mm for axis in axes)  # type: ignore[assignment]
        self.shift: Vector = ZERO  # truth: physical minus reported position
        self.lost: Vector = ZERO  # where each axis stands in its lost motion
        self.press: Vector = ZERO  # commanded into a body, mm, along the way that it went
        self.press_hit: Any = None
        self.slipping: dict[str, float] = {}  # loose setters that still slide, mm/s
        self.homing_error: Vector = ZERO  # truth: what every homing gets wrong
        self.powered = True
        self.estopped = False
        self.hold = False
        self.rapid_override = 1.0
        self.feed_override = 1.0
        self.rpm = 0.0
        self.warmth = 0.0
        self.warmth_time = 0.0
        self.servo_phase = 0.0
        self.pads: dict[str, Pad] = {}
        self.wires: dict[str, Wire] = {}
        self.inputs: dict[int, Input] = {}
        self.targets: dict[str, float] = {}
        # Called with (kind, time) at contact, close and the start of lines; empty costs nothing.
        self.observers: list[Callable[[str, float], None]] = []

    def growth(self, t: float) -> float:
        """How much longer than cold the spindle is at ``t``, mm."""
        spindle = self.machine.spindle
        if spindle.growth_mm == 0.0:
            return 0.0
        settled = min(abs(self.rpm) / spindle.max_rpm, 1.0)
        elapsed = t - self.warmth_time
        share = exp(-elapsed / spindle.growth_time_constant_s)
        return spindle.growth_mm * (settled + (self.warmth - settled) * share)

    def offset(self, t: float) -> Vector:
        """Physical minus reported position at rest, at ``t``."""
        return (
            self.shift[0] + self.lost[0] - self.press[0],
            self.shift[1] + self.lost[1] - self.press[1],
            self.shift[2] + self.lost[2] - self.press[2] - self.growth(t),
        )

    def physical(self, t: float | None = None) -> Vector:
        """Where the face's centre really is, mm; the kernel must be settled up to ``t``."""
        t = self.agenda.now() if t is None else t
        line = self.line
        if line is not None:
            return line.physical_at(line.track.state_at(t - line.delay).s)
        command, offset = self.command, self.offset(t)
        return (command[0] + offset[0], command[1] + offset[1], command[2] + offset[2])

    def reported(self, t: float | None = None) -> Vector:
        """The position readout: encoders, or the command where there are none."""
        t = self.agenda.now() if t is None else t
        line = self.line
        if line is None:
            return self.command
        s = line.track.state_at(t - line.delay).s
        return line.command_at(s if self.stepper else min(s, line.block))

    def speed(self, t: float) -> float:
        """Speed of the actual axis along its path, mm/s."""
        line = self.line
        if line is None:
            return 0.0
        s, v, _ = line.track.state_at(t - line.delay)
        return v if s < line.block else 0.0

    def tell(self, kind: str, t: float) -> None:
        """Tell whoever waits for a kind of event."""
        for observer in self.observers:
            observer(kind, t)
