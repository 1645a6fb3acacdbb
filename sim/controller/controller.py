"""The controller: one set of calls for a person, a program and a routine.

It knows its own tables, the position readout and the inputs as it sees them; it never looks at the
truth. Calls that take time are generators, to be used with ``yield from`` in a SimPy process.
"""

from __future__ import annotations

from collections.abc import Generator
from functools import cached_property
from math import sqrt
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

from drytouch.sim.controller.tables import Record, Tables, ToolRow
from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.motion import dog_leg
from drytouch.sim.recording import Source
from drytouch.sim.twin.kernel import LEAST_MOVE_MM, Kernel
from drytouch.sim.twin.line import Line, Vector

if TYPE_CHECKING:
    from drytouch.sim.controller.programs import Programs
    from drytouch.sim.program import Options
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.truth.judge import Judge

Calls = Generator[Any, Any, Any]
# A target may be past a soft limit by rounding, never by a count of the finest encoder.
_LIMIT_ROUNDING_MM = 1e-6


class Touch(NamedTuple):
    """Where a touch latched, machine coordinates, mm; ``contact`` is False where it never did."""

    x: float
    y: float
    z: float
    contact: bool = True


class Controller:
    """Calls on the machine. Motion calls raise ``ControllerAlarm`` when they can't go on."""

    def __init__(self, machine: Machine, kernel: Kernel, tables: Tables, judge: Judge) -> None:
        self._machine = machine
        self._kernel = kernel
        self._judge = judge
        self.tables = tables
        self.homed = True
        self.alarm_now: ControllerAlarm | None = None
        self.source = Source()
        self._waiting_key: tuple[str, int, float] | None = None
        self._knobs_work = True
        self._feed_knob = 1.0

    # ---- what it knows -------------------------------------------------------------------

    @property
    def top(self) -> float:
        """Highest machine Z inside the soft limits, mm."""
        return self._machine.axes.z.max_mm

    @property
    def position(self) -> Vector:
        """Machine position as read out, mm."""
        self._kernel.agenda.command()
        return self._kernel.reported()

    @property
    def length_convention(self) -> str:
        """How this machine writes tool lengths: face, difference, table or work."""
        return self._machine.habits.length_convention

    @property
    def limits(self) -> dict[str, tuple[float, float]]:
        """Soft limits by axis name, machine mm."""
        return {
            name: (axis.min_mm, axis.max_mm)
            for name, axis in zip("xyz", self._kernel.axes, strict=True)
        }

    @property
    def setters(self) -> tuple[str, ...]:
        """Names of the setters that have a record."""
        return tuple(self.tables.records)

    def base_for_lengths(self, setter: str | None = None) -> float:
        """What this machine's convention adds to a length from the face, mm, as far as it knows.

        A difference is from the master tool; a table or work length is the machine Z at which the
        tip stands on what the setter stands on.
        """
        record = self.record(setter)
        if self.length_convention == "difference":
            return -(record.master_length_mm or 0.0)
        if self.length_convention in ("table", "work"):
            return (record.reference_z_mm or 0.0) - (record.height_mm or 0.0)
        return 0.0

    @property
    def length_offset(self) -> float:
        """The active tool length offset, mm."""
        row = self.tables.rows.get(self.tables.length_row)
        return row.effective_mm if row is not None else 0.0

    @property
    def origin(self) -> Vector:
        """Machine position of program zero in the active work system, tool length included, mm."""
        tables = self.tables
        x, y, z = tables.systems[tables.system]
        dx, dy, dz = tables.shift
        return (x + dx, y + dy, z + dz + self.length_offset)

    @property
    def work_position(self) -> Vector:
        """Position of the tip as the active work system and length have it, mm."""
        here, origin = self.position, self.origin
        return (here[0] - origin[0], here[1] - origin[1], here[2] - origin[2])

    @property
    def time(self) -> float:
        """Simulated time, s."""
        return float(self._kernel.env.now)

    def record(self, setter: str | None = None) -> Record:
        """A setter's record; by default the selected one's."""
        name = setter or self.tables.selected
        if name is None or name not in self.tables.records:
            known = ", ".join(self.tables.records) or "none"
            raise StepError(f"there is no record of a setter '{name}'", f"known: {known}")
        return self.tables.records[name]

    def row(self, number: int) -> ToolRow:
        """A row of the tool table, made on first use."""
        if not 1 <= number <= self._machine.habits.rows:
            raise StepError(
                f"row {number} of the tool table", f"use 1 to {self._machine.habits.rows}"
            )
        return self.tables.rows.setdefault(number, ToolRow())

    def watched_input(self, setter: str | None = None) -> int:
        """Number of the input that a touch watches."""
        habits = self._machine.habits
        return habits.fixed_input if habits.watches == "fixed" else self.record(setter).input

    def input_on(self, setter: str | None = None) -> bool:
        """What the controller last saw on that input."""
        self._kernel.agenda.command()
        entry = self._kernel.inputs.get(self.watched_input(setter))
        return entry is not None and entry.seen

    def input_proved(self, setter: str | None = None) -> bool:
        """Whether it was seen off-on-off since the last plug, power or selection change."""
        entry = self._kernel.inputs.get(self.watched_input(setter))
        return entry is not None and entry.proof == 3

    # ---- alarms --------------------------------------------------------------------------

    def alarm(
        self, code: str, message: str, data: tuple[tuple[str, float | int | str], ...] = ()
    ) -> NoReturn:
        """Stop the program and say why; nothing moves until reset."""
        alarm = ControllerAlarm(code, message, data)
        self.alarm_now = alarm
        t = self._kernel.agenda.now()
        self._kernel.recorder.event(t, "alarm", [code, message])
        self._judge.alarm(alarm, t, self.source)
        self._kernel.tell("alarm", t)
        raise alarm

    def reset(self) -> None:
        """Pull the emergency stop out, clear the alarm."""
        self._kernel.reset()
        self.alarm_now = None

    def require_quiet_input(self, setter: str | None = None) -> None:
        """Alarm unless the watched input is off."""
        self._kernel.agenda.command()
        self._judge.checked_quiet(self._kernel.agenda.now())
        if self.input_on(setter):
            number = self.watched_input(setter)
            self._judge.already_tripped(self._kernel.agenda.now(), self.source, number)
            self.alarm(
                "already-tripped", f"input {number} is on before the touch", (("input", number),)
            )

    def require_proved_input(self, setter: str | None = None) -> None:
        """Alarm unless the watched input was seen off-on-off."""
        if not self.input_proved(setter):
            number = self.watched_input(setter)
            self.alarm(
                "unproved-input",
                f"input {number} was not seen off-on-off; press the pad by hand with drives off",
                (("input", number),),
            )

    def require_reference(self, setter: str | None = None) -> float:
        """The reference of a setter, mm; alarm unless there is one flagged valid."""
        record = self.record(setter)
        if record.reference_z_mm is None or not record.reference_valid:
            why = record.stale or "it was never taken"
            self.alarm("stale-reference", f"the setter's reference is not valid: {why}")
        self._judge.used_reference(setter or self.tables.selected or "", record)
        return record.reference_z_mm

    def _ready(self) -> None:
        kernel = self._kernel
        if kernel.estopped or kernel.agenda.due("power") is not None:
            self.alarm("e-stop", "the emergency stop is pressed; pull it out and reset")
        if self.alarm_now is not None:
            raise self.alarm_now
        if not kernel.powered:
            self.alarm("drives-off", "the drives are off; switch them on before a move")
        if kernel.line is not None:
            self.alarm("wrong-state", "a move is still running")

    # ---- moves ---------------------------------------------------------------------------

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

    # ---- programs ------------------------------------------------------------------------

    @cached_property
    def programs(self) -> Programs:
        """What runs programs and typed lines."""
        # Imported here: most runs need no language.
        from drytouch.sim.controller.programs import Programs

        return Programs(self, self._machine, self._kernel, self._judge)

    def mdi(self, line: str) -> Calls:
        """Run one line of program as typed."""
        yield from self.programs.run_line(line)

    def run_program(self, file: str, options: Options | None = None) -> Calls:
        """Check a program file whole, then run it; returns how it ended."""
        return (yield from self.programs.run_file(file, options))

    @property
    def change_height(self) -> float:
        """Machine Z at which an arm changes tools, mm; the top of Z where there is none."""
        z = self._machine.tool_change.z_mm
        return self.top if z is None else z

    def change_tool(self, number: int) -> Calls:
        """Bring the tool that belongs to a row into the spindle; 0 empties it.

        An arm swings only at its height, so the axis goes there first; a person changes where it
        stands. The tool that is in already stays as it is.
        """
        tables = self.tables
        if number == tables.slot:
            return
        row = self.row(number) if number else None
        if row is not None and row.tool is None:
            self.alarm("wrong-state", f"no tool belongs to row {number}: there is none to load")
        self._ready()
        self.spin(0.0)
        if self._machine.tool_change.by == "arm":
            yield from self.rapid(z=self.change_height, frame="machine")
        yield from self.dwell(self._machine.tool_change.time_s)
        t = self._kernel.agenda.command()
        self._kernel.stage.load(row.tool if row else None, self._kernel.recorder, t)
        self.believe_slot(number)

    def turn_knobs(self, rapid: float | None = None, feed: float | None = None) -> None:
        """Turn the override knobs (1.0 is 100 %); a program may have put the feed's out of work."""
        if not self._knobs_work and feed is not None:
            self._feed_knob, feed = feed, None
        self._kernel.set_override(rapid, feed)

    def enable_overrides(self, enabled: bool) -> None:
        """Let the feed override knob work, or run all feeds at 100 % wherever it stands.

        The rapid override stays at work: it is what a person slows a first run with.
        """
        if enabled == self._knobs_work:
            return
        self._knobs_work = enabled
        if enabled:
            self._kernel.set_override(None, self._feed_knob)
        else:
            self._feed_knob = self._kernel.feed_override
            self._kernel.set_override(None, 1.0)

    # ---- how a line is asked for ---------------------------------------------------------

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

    # ---- tables --------------------------------------------------------------------------

    def store_length(
        self, number: int, length_mm: float, place: str = "centre", keep_wear: bool = False
    ) -> None:
        """Write a measured length into a row; the old wear is cleared with it."""
        row = self.row(number)
        row.length_mm = length_mm
        row.place = place
        if not keep_wear:
            row.wear_mm = 0.0
        self._believe(f"row {number} length", length_mm)
        self._judge.length_stored(number, row, self.source)

    def store_row(self, number: int, length_mm: float, wear_mm: float) -> None:
        """Write geometry and wear of a row, both at once."""
        row = self.row(number)
        if row.length_mm != length_mm:
            row.place = "centre"
        row.length_mm, row.wear_mm = length_mm, wear_mm
        self._believe(f"row {number} length", length_mm)
        self._believe(f"row {number} wear", wear_mm)
        # Without a touch that it came from, the number is one that a person once typed.
        self._judge.typing = self._judge.touch_feed is None
        try:
            self._judge.length_stored(number, row, self.source)
        finally:
            self._judge.typing = False

    def store_wear(self, number: int, wear_mm: float) -> None:
        """Write a row's wear."""
        row = self.row(number)
        row.wear_mm = wear_mm
        self._believe(f"row {number} wear", wear_mm)
        self._judge.length_stored(number, row, self.source)

    def store_system(self, system: str, **axes: float) -> None:
        """Write origins (x=, y=, z=, machine mm) of a work system."""
        if system not in self.tables.systems:
            raise StepError(f"no work system '{system}'", "use G54 to G59.3")
        origin = list(self.tables.systems[system])
        for name, value in axes.items():
            origin["xyz".index(name)] = value
            self._believe(f"{system} {name}", value)
        self.tables.systems[system] = (origin[0], origin[1], origin[2])
        if "z" in axes:
            self._judge.work_z_stored(system, self.source)

    def store_record(self, setter: str, **values: Any) -> None:
        """Write fields of a setter's record."""
        record = self.record(setter)
        for name, value in values.items():
            setattr(record, name, value)
            self._believe(f"setter {setter} {name}", value)
        if "input" in values and setter in self._kernel.pads:
            self._kernel.inputs_forget()
        self._judge.record_stored(setter, record, tuple(values), self.source)

    def select_setter(self, setter: str) -> None:
        """Choose whose input a touch watches; proof starts again."""
        self.record(setter)
        if self.tables.selected != setter:
            self.tables.selected = setter
            self._kernel.inputs_forget()
            self._believe("selected setter", setter)

    def select_system(self, system: str) -> None:
        """Make a work system the active one."""
        if system not in self.tables.systems:
            raise StepError(f"no work system '{system}'", "use G54 to G59.3")
        self.tables.system = system
        self._believe("active system", system)

    def set_shift(self, shift_mm: Vector) -> None:
        """Shift all work systems (G92), mm."""
        self.tables.shift = shift_mm
        self._believe("shift z", shift_mm[2])

    def select_length(self, row: int) -> None:
        """Make a row's length the active offset; 0 cancels it."""
        self.tables.length_row = row
        self._believe("active length row", row)
        self._judge.length_selected(row, self.source)

    def forget_references(self, why: str) -> None:
        """Flag every setter's reference invalid, with the reason."""
        for name, record in self.tables.records.items():
            if record.reference_z_mm is not None:
                record.reference_valid = False
                record.stale = why
                self._believe(f"setter {name} reference_valid", False)

    def emergency_stopped(self) -> None:
        """What this machine forgets when its emergency stop was pressed."""
        if not self._machine.absolute_encoders:
            self.homed = False
        if not self._machine.emergency_stop.keeps_reference:
            self.forget_references("an emergency stop")

    def believe_slot(self, slot: int) -> None:
        """Tell the controller which row the tool in the spindle belongs to."""
        self.tables.slot = slot
        self._believe("loaded slot", slot)

    def _believe(self, key: str, value: Any) -> None:
        self._kernel.recorder.belief(self._kernel.agenda.now(), key, value)
