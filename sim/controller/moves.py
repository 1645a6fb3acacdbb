"""Moves: rapid, feed, touch, arc, jog, step, home; and how a line is asked for."""

from __future__ import annotations

from collections.abc import Generator
from math import sqrt
from typing import Any, NamedTuple

from drytouch.sim.controller.storing import Storing
from drytouch.sim.errors import StepError
from drytouch.sim.motion import dog_leg
from drytouch.sim.twin.kernel import LEAST_MOVE_MM
from drytouch.sim.twin.line import Line, Vector

Calls = Generator[Any, Any, Any]
# A target may be past a soft limit by rounding, never by a count of the finest encoder.
_LIMIT_ROUNDING_MM = 1e-6


class Touch(NamedTuple):
    """Where a touch latched, machine coordinates, mm; ``contact`` is False where it never did."""

    x: float
    y: float
    z: float
    contact: bool = True


class Moves(Storing):
    """Calls that take time: generators for ``yield from`` in a SimPy process."""

    def rapid(
        self,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        frame: str = "work",
    ) -> Calls:
        """Move at rapid to a position (mm); absent axes stay."""
        target = self.target(x, y, z, frame)
        if self._machine.rapids == "straight":
            yield from self._line("rapid", target, None)
            return
        here = self._kernel.command
        speeds = self._kernel.rapid_speeds
        legs = dog_leg((target[0] - here[0], target[1] - here[1], target[2] - here[2]), speeds)
        for leg in legs[:-1]:
            here = (here[0] + leg[0], here[1] + leg[1], here[2] + leg[2])
            yield from self._line("rapid", here, None)
        yield from self._line("rapid", target, None)

    def feed(
        self,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        feed_mm_per_min: float = 0.0,
        frame: str = "work",
    ) -> Calls:
        """Move at a feed (mm/min) to a position (mm); absent axes stay."""
        target = self.target(x, y, z, frame)
        yield from self._line("feed", target, self._feed(feed_mm_per_min))

    def touch(
        self,
        x: float | None = None,
        y: float | None = None,
        z: float | None = None,
        feed_mm_per_min: float = 0.0,
        frame: str = "machine",
        setter: str | None = None,
        must_contact: bool = True,
    ) -> Calls:
        """Feed towards a position (mm) until the watched input comes on; returns a ``Touch``.

        Alarms: ``already-tripped`` before it moves, ``no-contact`` at the end of the path (unless
        ``must_contact`` is False: then the end point, with ``contact`` False).
        """
        target = self.target(x, y, z, frame)
        feed = self._feed(feed_mm_per_min)
        self._ready()
        number = self.watched_input(setter)
        if number not in self._kernel.inputs:
            self.alarm("wrong-state", f"the machine has no input {number} to watch")
        self._judge.touch_asked(self._kernel.agenda.command(), self.source, number)
        if self._kernel.inputs[number].seen:
            self._judge.already_tripped(self._kernel.agenda.now(), self.source, number)
            self.alarm(
                "already-tripped", f"input {number} is on before the touch", (("input", number),)
            )
        line = yield from self._line("touch", target, feed, watch=number)
        if line is None or line.latch is None:
            if must_contact:
                self._judge.no_contact(line, self._kernel.agenda.now(), self.source)
                self.alarm("no-contact", f"the touch reached its end and input {number} stayed off")
            return Touch(*self._kernel.command, False)
        latch: Vector = line.latch
        if self._machine.habits.after_touch == "return":
            yield from self._line("return", latch, feed)
        return Touch(*latch)

    def arc(self, arc: Any, feed_mm_per_min: float) -> Calls:
        """Follow an arc (``drytouch.sim.twin.arc.Arc``) at a feed."""
        self._ready()
        end: Vector = arc.end(self._kernel.command)
        for point in arc.farthest(self._kernel.command):
            self.check_target(point)
        feed = self._feed(feed_mm_per_min)
        line = self._kernel.start(
            "feed", arc.heading(0.0), arc.length, feed, None, self.source, arc, end
        )
        yield line.done
        self.after(line)

    def jog(self, axis: str, by_mm: float, speed_mm_per_min: float) -> Calls:
        """Hold a jog key until the axis has gone ``by_mm`` (signed), or a soft limit."""
        yield from self._single("jog", axis, by_mm, speed_mm_per_min)

    def start_jog(self, axis: str, sign: int, speed_mm_per_min: float) -> Line | None:
        """Press a jog key; ``release_jog`` lets it go.

        Returns the line, or None at a limit. One axis at a time: while one still moves by jog, a
        second key (or the other way) waits for rest, and the answer is None as well.
        """
        running = self._kernel.line
        if running is not None and running.kind in ("jog", "step"):
            self._waiting_key = (axis, sign, speed_mm_per_min)
            running.done.callbacks.append(self._next_key)
            return None
        index = "xyz".index(axis)
        limits = self._kernel.axes[index]
        room = (limits.max_mm if sign > 0 else limits.min_mm) - self._kernel.command[index]
        self._ready()
        if not self.homed:
            room = sign * (limits.max_mm - limits.min_mm)
        if room * sign <= LEAST_MOVE_MM:
            return None
        direction = tuple(float(sign) if i == index else 0.0 for i in range(3))
        return self._kernel.start(
            "jog", direction, abs(room), speed_mm_per_min / 60.0, None, self.source  # type: ignore[arg-type]
        )  # fmt: skip

    def release_jog(self, axis: str | None = None) -> None:
        """Let a jog key go: that of ``axis``, or all of them."""
        waiting, line = self._waiting_key, self._kernel.line
        moves = line is not None and (axis is None or line.direction["xyz".index(axis)] != 0.0)
        if moves and line is not None and not line.released:
            self._kernel.release()
            if axis is not None:
                return  # the other way of the same axis has its own key, which is still down
        if waiting is not None and axis in (None, waiting[0]):
            self._waiting_key = None

    def _next_key(self, _: object) -> None:
        """Everything rests: a key that still waits has its turn."""
        key, self._waiting_key = self._waiting_key, None
        if key is not None and self._kernel.powered and self.alarm_now is None:
            self.start_jog(*key)

    def step(self, axis: str, by_mm: float) -> Calls:
        """Tap the step key once: one signed step (mm)."""
        # Handwheel pulses are followed at a slow fixed speed, whatever the feed was.
        yield from self._single("step", axis, by_mm, 300.0)

    def _single(self, kind: str, axis: str, by_mm: float, speed_mm_per_min: float) -> Calls:
        index = "xyz".index(axis)
        here = self._kernel.command
        limits = self._kernel.axes[index]
        value = here[index] + by_mm
        if self.homed:
            value = min(max(value, limits.min_mm), limits.max_mm)
        target = tuple(value if i == index else here[i] for i in range(3))
        yield from self._line(kind, target, speed_mm_per_min / 60.0)  # type: ignore[arg-type]

    def spin(self, rpm: float) -> None:
        """Start, stop (0) or change the spindle; positive turns a right-hand tool to cut."""
        if abs(rpm) > self._machine.spindle.max_rpm:
            raise StepError(
                f"{rpm:g} rpm", f"this spindle turns up to {self._machine.spindle.max_rpm:g}"
            )
        self._kernel.spin(rpm)

    @property
    def spindle_rpm(self) -> float:
        """Commanded spindle speed, rpm; negative turns against the cut of a right-hand tool."""
        return self._kernel.rpm

    def orient_spindle(self, angle_deg: float | None = None) -> Calls:
        """Turn the spindle to its orientation (or an angle) and hold it there."""
        spindle = self._machine.spindle
        if spindle.orient_deg is None:
            raise StepError("this spindle can't orient itself", "turn it by hand")
        self._kernel.spin(0.0)
        # A second is what a spindle of this size takes to find its mark; nothing depends on it.
        yield from self.dwell(1.0)
        self._kernel.turn_to(spindle.orient_deg if angle_deg is None else angle_deg)

    def dwell(self, seconds: float) -> Calls:
        """Wait."""
        yield self._kernel.env.timeout(seconds)
        self._kernel.agenda.command()

    def home(self) -> Calls:
        """Find the axes' home switches, Z first; clears soft-limit blindness."""
        self._ready()
        for index in (2, 0, 1):
            line = self._kernel.start_homing(index, self.source)
            if line is not None:
                yield line.done
                self.after(line)
            self._kernel.finish_homing(index)
        self.homed = True
        self._judge.homed(self._kernel.agenda.now())

    def target(
        self, x: float | None, y: float | None, z: float | None, frame: str = "work"
    ) -> Vector:
        """Machine position that the words mean, absent axes where they are."""
        here = self._kernel.command
        origin = self.origin if frame == "work" else (0.0, 0.0, 0.0)
        return (
            here[0] if x is None else x + origin[0],
            here[1] if y is None else y + origin[1],
            here[2] if z is None else z + origin[2],
        )

    def _feed(self, feed_mm_per_min: float) -> float:
        if not feed_mm_per_min > 0.0:
            raise StepError(f"feed {feed_mm_per_min:g} mm/min", "give a feed above 0")
        return feed_mm_per_min / 60.0

    def check_target(self, target: Vector) -> None:
        """Alarm unless a position (machine mm) lies inside the soft limits."""
        if not self.homed:
            self.alarm("not-homed", "the machine does not know where it is; home it first")
        for name, axis, value in zip("xyz", self._kernel.axes, target, strict=True):
            low, high = axis.min_mm - _LIMIT_ROUNDING_MM, axis.max_mm + _LIMIT_ROUNDING_MM
            if not low <= value <= high:
                self._judge.soft_limit(self._kernel.agenda.now(), self.source, name, value)
                self.alarm(
                    "soft-limit",
                    f"{name.upper()} {value:.3f} is outside {axis.min_mm:g} to {axis.max_mm:g} mm",
                    (("axis", name), ("target_mm", value)),
                )

    def _line(
        self, kind: str, target: Vector, feed_mm_per_s: float | None, watch: int | None = None
    ) -> Calls:
        """One straight line to ``target``; returns the ended line, or None for no way to go."""
        kernel = self._kernel
        kernel.agenda.command()
        self._ready()
        if kind not in ("jog", "step"):
            self.check_target(target)
        here = kernel.command
        dx, dy, dz = target[0] - here[0], target[1] - here[1], target[2] - here[2]
        length = sqrt(dx * dx + dy * dy + dz * dz)
        if length <= LEAST_MOVE_MM:
            return None
        direction = (dx / length, dy / length, dz / length)
        line = kernel.start(
            kind, direction, length, feed_mm_per_s, watch, self.source, None, target
        )
        yield line.done
        self.after(line)
        return line

    def after(self, line: Line) -> None:
        """What a line's end means for the program."""
        outcome = line.outcome
        if outcome == "e-stop":
            self.emergency_stopped()
            self.alarm("e-stop", "the emergency stop was pressed")
        if outcome == "fault":
            self.alarm("following-error", "an axis fell too far behind its command; drives off")
        if outcome == "limit":
            self.alarm("hard-limit", "an axis ran onto its limit switch")
        if outcome == "stopped" and self.alarm_now is not None:
            raise self.alarm_now
