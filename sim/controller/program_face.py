"""The face that the controller shows to programs: the narrow one that the interpreter asks for.

Everything is passed on to the controller's own calls, so that a program, a person and a routine
meet the same checks, alarms and judgement.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError
from drytouch.sim.program.arcs import arc_extent
from drytouch.sim.program.machine import (
    ActiveOffsets,
    Arc,
    Motion,
    SetterRecord,
    ToolRow,
    TouchConditions,
    TouchResult,
    Vector,
)
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.state import SAME_ORIGIN_MM
from drytouch.sim.scenario.controller import SYSTEM_NAMES
from drytouch.sim.twin import arc as path

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.truth.judge import Judge
    from drytouch.sim.twin.kernel import Kernel

_PLANES: dict[tuple[int, int, int], path.Plane] = {
    (0, 1, 2): "xy",
    (2, 0, 1): "zx",
    (1, 2, 0): "yz",
}
# Fields of a setter's record that a program names otherwise than the controller's tables do.
_FIELDS = {"centre_x_mm": "x_mm", "centre_y_mm": "y_mm"}
_HABITS = {
    "down": "down",
    "to-zero": "toward-zero",
    "new": "new-units",
    "old": "old-units",
    "physical": "stay-put",
    "numbers": "keep-numbers",
    "within": "within-1e-6",
    "return": "trip-point",
    "stay": "where-stopped",
}


def settings_of(machine: Machine) -> LanguageSettings:
    """How this machine reads the points on which controls differ, from its habits."""
    habits = machine.habits
    named: dict[str, Any] = {
        "home_axes": habits.home_axes,
        "fix_of_negative": habits.fix_rounds,
        "rest_after_touch": habits.after_touch,
        "feed_with_unit_change": habits.feed_on_unit_line,
        "offsets_on_unit_change": habits.offsets_on_unit_change,
        "g31_already_tripped": habits.skip_when_tripped,
        "comparison": habits.compare,
        "tool_length_at_end": habits.length_after_end,
        "touch_result": habits.touch_result,
        "rapid_path": machine.rapids,
        "logic_beside_comparison": habits.logic_binds,
    }
    return LanguageSettings(
        read_ahead_lines=habits.read_ahead,
        **{name: _HABITS.get(value, value) for name, value in named.items()},
    )


class ProgramFace:
    """Implements ``drytouch.sim.program.Machine`` over a controller.

    ``wait_for_start(text)`` stands for the person at cycle start: it returns an event to wait for.
    Without it a pause is noted, and the program goes on at once. ``listeners`` are told each
    ``message`` and ``pause`` with its text.
    """

    def __init__(
        self, controller: Controller, machine: Machine, kernel: Kernel, judge: Judge
    ) -> None:
        self._controller = controller
        self._machine = machine
        self._kernel = kernel
        self._judge = judge
        self.wait_for_start: Callable[[str], Any] | None = None
        self.listeners: list[Callable[[str, str], None]] = []
        self._told_origin: Vector | None = None

    # ---- what it tells ---------------------------------------------------------------------

    @property
    def time_s(self) -> float:
        """Simulated time."""
        return self._controller.time

    @property
    def position_mm(self) -> Vector:
        """The commanded position, from which the next move starts."""
        self._kernel.agenda.command()
        return self._kernel.command

    @property
    def travel_mm(self) -> tuple[Vector, Vector] | None:
        """None: the controller checks each move itself, and says so by its own alarm."""
        return None

    @property
    def limits_mm(self) -> tuple[Vector, Vector] | None:
        """The soft limits."""
        x, y, z = self._controller.limits.values()
        return (x[0], y[0], z[0]), (x[1], y[1], z[1])

    @property
    def slots(self) -> int:
        """Rows of the tool table."""
        return self._machine.habits.rows

    @property
    def loaded_tool(self) -> int:
        """The row of the tool that should be in the spindle."""
        return self._controller.tables.slot

    def input_is_on(self, number: int | None = None) -> bool | None:
        """What the controller last saw on an input; None where there is no such input."""
        self._kernel.agenda.command()
        if number is None:
            try:
                number = self._controller.watched_input()
            except StepError:
                return None
        entry = self._kernel.inputs.get(number)
        return None if entry is None else entry.seen

    def touch_conditions(self) -> TouchConditions:
        """A turning spindle is allowed where the selected setter permits it; nothing else asked."""
        pad = self._kernel.pads.get(self._controller.tables.selected or "")
        return TouchConditions(turning_allowed=pad is not None and pad.setter.turning_allowed)

    def tool_row(self, row: int) -> ToolRow | None:
        """A row of the tool table, None while nothing is in it."""
        stored = self._controller.tables.rows.get(row)
        if stored is None or (stored.length_mm is None and stored.wear_mm == 0.0):
            return None
        return ToolRow(stored.length_mm or 0.0, stored.wear_mm)

    def setter_record(self) -> SetterRecord | None:
        """The record of the selected setter."""
        tables = self._controller.tables
        record = tables.records.get(tables.selected or "")
        if record is None:
            return None
        return SetterRecord(
            reference_z_mm=record.reference_z_mm,
            centre_x_mm=record.x_mm,
            centre_y_mm=record.y_mm,
            clearance_z_mm=record.clearance_z_mm,
            height_mm=record.height_mm,
            master_length_mm=record.master_length_mm,
            reference_valid=record.reference_valid,
            input_number=self._controller.watched_input(),
            input_proved=self._controller.input_proved(),
            fast_mm_per_min=record.fast_mm_per_min,
            slow_mm_per_min=record.slow_mm_per_min,
            back_off_mm=record.back_off_mm,
            search_mm=record.search_mm,
            agree_mm=record.agree_mm,
            length_base_mm=self._length_base(),
        )

    def _length_base(self) -> float | None:
        """What the convention for lengths adds; None while what it counts from is not stored."""
        controller, record = self._controller, self._controller.record()
        wanted = {"difference": record.master_length_mm, "face": 0.0}
        if wanted.get(controller.length_convention, record.height_mm) is None:
            return None
        return controller.base_for_lengths()

    def homes_mm(self) -> tuple[Vector, Vector]:
        """G28 goes home; G30 goes there with Z where tools are changed."""
        axes = self._machine.axes
        home = (axes.x.home_mm, axes.y.home_mm, axes.z.home_mm)
        return home, (home[0], home[1], self._controller.change_height)

    def work_origins_mm(self) -> tuple[Vector, ...]:
        """The nine origins."""
        return tuple(self._controller.tables.systems[name] for name in SYSTEM_NAMES)

    # ---- motion and time -------------------------------------------------------------------

    def work_move(self, line: int) -> None:
        """Let the judge look at what the move counts from."""
        self._judge.work_move(self._controller.source)

    def rapid(self, target_mm: Vector, line: int) -> Motion:
        """Go there at the rapid rate."""
        return self._controller.rapid(*target_mm, frame="machine")

    def feed(self, target_mm: Vector, feed_mm_per_min: float, line: int) -> Motion:
        """Go straight there at a feed."""
        return self._controller.feed(*target_mm, feed_mm_per_min=feed_mm_per_min, frame="machine")

    def arc(self, arc: Arc, feed_mm_per_min: float, line: int) -> Motion:
        """Follow an arc, if all of it lies inside the limits."""
        start = self.position_mm
        for corner in arc_extent(start, arc):
            self._controller.check_target(corner)
        rise = arc.end_mm[arc.axes[2]] - start[arc.axes[2]]
        follow = path.Arc(start, arc.centre_mm, arc.turn_rad, _PLANES[arc.axes], rise)
        yield from self._controller.arc(follow, feed_mm_per_min)

    def touch(
        self, target_mm: Vector, feed_mm_per_min: float, error_if_no_contact: bool, line: int
    ) -> Generator[Any, Any, TouchResult]:
        """Touch with the machine's habits: it may go back to the trip by itself."""
        touch = yield from self._controller.touch(
            *target_mm,
            feed_mm_per_min=feed_mm_per_min,
            frame="machine",
            must_contact=error_if_no_contact,
        )
        return TouchResult(touch.contact, (touch.x, touch.y, touch.z))

    def already_tripped(self, refused: bool, line: int) -> None:
        """Note it; a refused touch is an alarm."""
        number = self._controller.watched_input()
        self._judge.already_tripped(self.time_s, self._controller.source, number)
        if refused:
            self._controller.alarm(
                "already-tripped", f"input {number} is on before the touch", (("input", number),)
            )

    def dwell(self, seconds: float) -> Motion:
        """Wait."""
        return self._controller.dwell(seconds)

    def pause(self, optional: bool, text: str) -> Motion:
        """Wait for cycle start where somebody is there to give it."""
        self._tell("pause", text)
        if self.wait_for_start is not None:
            yield self.wait_for_start(text)

    def turn_spindle(self, direction: int, speed_rpm: float) -> Motion:
        """Turn, or stop."""
        most = self._machine.spindle.max_rpm
        if speed_rpm > most:
            self._controller.alarm(
                "wrong-state", f"S{speed_rpm:g}: this spindle turns up to {most:g} rpm"
            )
        self._controller.spin(direction * speed_rpm)
        yield from ()

    def orient_spindle(self, angle_deg: float) -> Motion:
        """Turn to an angle and hold it, where the spindle can."""
        if self._machine.spindle.orient_deg is None:
            self._controller.alarm(
                "wrong-state", "this spindle can't orient itself: turn it by hand"
            )
        return self._controller.orient_spindle(angle_deg)

    def load_tool(self, number: int) -> Motion:
        """Bring a tool in."""
        return self._controller.change_tool(number)

    # ---- what programs write ---------------------------------------------------------------

    def write_tool_row(self, row: int, geometry_mm: float, wear_mm: float) -> None:
        """Store a row, both numbers at once."""
        self._controller.store_row(row, geometry_mm, wear_mm)

    def write_setter_record(self, values_mm: dict[str, float | None], line: int) -> None:
        """Store fields of the selected setter's record."""
        values: dict[str, Any] = {_FIELDS.get(name, name): v for name, v in values_mm.items()}
        if "reference_z_mm" in values:
            valid = values["reference_z_mm"] is not None
            by = "master" if values.get("master_length_mm") else "face"
            values |= {"reference_valid": valid, "reference_by": by}
            values["stale"] = "" if valid else "a program emptied it"
        self._controller.store_record(self._controller.tables.selected or "", **values)

    def write_work_origins(self, origins_mm: tuple[Vector, ...], line: int) -> None:
        """Store the origins that changed."""
        for name, origin in zip(SYSTEM_NAMES, origins_mm, strict=True):
            self._write_origin(name, origin)

    def _write_origin(self, name: str, origin_mm: Vector) -> None:
        old = self._controller.tables.systems[name]
        changed = {
            axis: b
            for axis, a, b in zip("xyz", old, origin_mm, strict=True)
            if abs(a - b) > SAME_ORIGIN_MM
        }
        if changed:
            self._controller.store_system(name, **changed)

    def write_active(self, active: ActiveOffsets, line: int) -> None:
        """Take over work system, shift and length row."""
        tables = self._controller.tables
        name = SYSTEM_NAMES[active.system - 1]
        if tables.system != name:
            self._controller.select_system(name)
        if self._told_origin not in (None, active.origin_mm):
            # A stored number may mean something else in other units: the table then does, too.
            self._write_origin(name, active.origin_mm)
        self._told_origin = active.origin_mm
        if tables.shift != active.shift_mm:
            self._controller.set_shift(active.shift_mm)
        if tables.length_row != active.tool_row:
            self._controller.select_length(active.tool_row)

    def enable_overrides(self, enabled: bool) -> None:
        """Let the feed override knob work, or not."""
        self._controller.enable_overrides(enabled)

    def message(self, text: str) -> None:
        """Show a message."""
        self._tell("message", text)

    def _tell(self, kind: str, text: str) -> None:
        self._kernel.recorder.event(self.time_s, kind, text)
        for listener in self.listeners:
            listener(kind, text)

    def alarm(self, text: str) -> None:
        """Stop with the program's own alarm."""
        self._controller.alarm("program", text)
