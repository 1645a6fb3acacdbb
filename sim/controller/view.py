"""What the controller knows: its tables, the readout, and the inputs as it last saw them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.controller.tables import Record, Tables, ToolRow
from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.recording import Source
from drytouch.sim.twin.kernel import Kernel
from drytouch.sim.twin.line import Vector

if TYPE_CHECKING:
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.truth.judge import Judge


class View:
    """The controller's own knowledge; the layers above it add alarms, tables and moves."""

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
