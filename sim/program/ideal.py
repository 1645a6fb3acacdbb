"""A machine without flaws: no lag, an instant stop, contact without pre-travel.

It runs the reference cases of the language and dry runs of a program. The tip is a point; boxes
are solid to touches only, for an ideal machine has no collisions to speak of.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass, field, replace
from typing import Any

from drytouch.sim.errors import ControllerAlarm
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

# A tip that rests on a face after a touch must read as touching, whatever rounding did.
SKIN_MM = 1e-9
RAPID_MM_PER_MIN = 10_000.0


@dataclass(frozen=True, slots=True)
class Box:
    """A block that a touch may meet; corners in mm, machine frame, infinite ones allowed."""

    low_mm: Vector
    high_mm: Vector

    def holds(self, point: Vector) -> bool:
        """Whether the point is inside or on the surface."""
        return all(
            low - SKIN_MM <= p <= high + SKIN_MM
            for low, p, high in zip(self.low_mm, point, self.high_mm, strict=True)
        )

    def first_contact(self, start: Vector, end: Vector) -> float | None:
        """Return the fraction of the way from start to end at which the box is met."""
        enter, leave = 0.0, 1.0
        for k in range(3):
            way = end[k] - start[k]
            low, high = self.low_mm[k] - start[k], self.high_mm[k] - start[k]
            if way == 0:
                if low > 0 or high < 0:
                    return None
                continue
            near, far = sorted((low / way, high / way))
            enter, leave = max(enter, near), min(leave, far)
        return enter if enter <= leave else None


def floor_at(z_mm: float) -> Box:
    """Return everything at and below ``z_mm``."""
    reach = math.inf
    return Box((-reach, -reach, -reach), (reach, reach, z_mm))


@dataclass(slots=True)
class IdealMachine:
    """Implements ``Machine``; ``log`` holds what it was told to do, in order.

    ``touch_anywhere`` lets every touch meet something halfway: for dry runs without a scene.
    ``pause_hook`` stands for the person at cycle start; the ideal one is always at once.
    """

    position: Vector = (0.0, 0.0, 0.0)
    boxes: tuple[Box, ...] = ()
    true_length_mm: dict[int, float] = field(default_factory=dict)
    tool_rows: dict[int, ToolRow] = field(default_factory=dict)
    origins: tuple[Vector, ...] = ((0.0, 0.0, 0.0),) * 9
    homes: tuple[Vector, Vector] = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    setter: SetterRecord | None = None
    conditions: TouchConditions = field(default_factory=TouchConditions)
    travel: tuple[Vector, Vector] | None = None
    limits: tuple[Vector, Vector] | None = None
    tool: int = 0
    slots: int = 99
    touch_anywhere: bool = False
    now_s: float = 0.0
    active: ActiveOffsets | None = None
    overrides: bool = True
    log: list[tuple[Any, ...]] = field(default_factory=list)
    logging: bool = True

    @property
    def time_s(self) -> float:
        """Simulated time: path over feed, nothing for speeding up and slowing down."""
        return self.now_s

    @property
    def position_mm(self) -> Vector:
        """The gauge point, truly and as believed."""
        return self.position

    @property
    def travel_mm(self) -> tuple[Vector, Vector] | None:
        """The travel, if it is limited."""
        return self.travel

    @property
    def limits_mm(self) -> tuple[Vector, Vector] | None:
        """The limits that were set, or the travel."""
        return self.limits or self.travel

    @property
    def loaded_tool(self) -> int:
        """The tool in the spindle."""
        return self.tool

    def _note(self, *event: Any) -> None:
        if self.logging:
            self.log.append(event)

    def _go(self, target: Vector, feed_mm_per_min: float) -> None:
        self.now_s += math.dist(self.position, target) / feed_mm_per_min * 60
        self.position = target

    def _nothing(self) -> Motion:
        # Makes a method a generator that is done at once.
        yield from ()

    def work_move(self, line: int) -> None:
        """Nobody judges an ideal machine."""

    def rapid(self, target_mm: Vector, line: int) -> Motion:
        """Be there."""
        self._note("rapid", target_mm)
        self._go(target_mm, RAPID_MM_PER_MIN)
        return self._nothing()

    def feed(self, target_mm: Vector, feed_mm_per_min: float, line: int) -> Motion:
        """Be there after path over feed."""
        self._note("feed", target_mm, feed_mm_per_min)
        self._go(target_mm, feed_mm_per_min)
        return self._nothing()

    def arc(self, arc: Arc, feed_mm_per_min: float, line: int) -> Motion:
        """Be there after path over feed."""
        self._note("arc", arc, feed_mm_per_min)
        self.now_s += arc.length_mm / feed_mm_per_min * 60
        self.position = arc.end_mm
        return self._nothing()

    def _tip(self, gauge_point: Vector) -> Vector:
        x, y, z = gauge_point
        return (x, y, z - self.true_length_mm.get(self.tool, 0.0))

    def touch(
        self, target_mm: Vector, feed_mm_per_min: float, error_if_no_contact: bool, line: int
    ) -> Generator[Any, Any, TouchResult]:
        """Stop on the first box met, exactly."""
        self._note("touch", target_mm, feed_mm_per_min)
        yield from ()
        start, tip = self.position, self._tip(self.position)
        met = [box.first_contact(tip, self._tip(target_mm)) for box in self.boxes]
        fractions = [part for part in met if part is not None]
        if self.touch_anywhere:
            fractions.append(0.5)
        end = target_mm
        if fractions:
            part = min(fractions)
            x, y, z = (a + part * (b - a) for a, b in zip(start, target_mm, strict=True))
            end = (x, y, z)
        self._go(end, feed_mm_per_min)
        return TouchResult(bool(fractions), end)

    def already_tripped(self, refused: bool, line: int) -> None:
        """Note it."""
        self._note("already tripped", refused)

    def dwell(self, seconds: float) -> Motion:
        """Let time pass."""
        self._note("dwell", seconds)
        self.now_s += seconds
        return self._nothing()

    def pause(self, optional: bool, text: str) -> Motion:
        """Note the stop and go on at once."""
        self._note("pause", optional, text)
        return self._nothing()

    def turn_spindle(self, direction: int, speed_rpm: float) -> Motion:
        """Note it."""
        self._note("spindle", direction, speed_rpm)
        return self._nothing()

    def orient_spindle(self, angle_deg: float) -> Motion:
        """Note it."""
        self._note("orient", angle_deg)
        return self._nothing()

    def load_tool(self, number: int) -> Motion:
        """Have the tool in the spindle."""
        self._note("tool", number)
        self.tool = number
        return self._nothing()

    def input_is_on(self, number: int | None = None) -> bool | None:
        """Whether the tip touches a box; there is one input, number 1."""
        if number not in (None, 1):
            return None
        return any(box.holds(self._tip(self.position)) for box in self.boxes)

    def touch_conditions(self) -> TouchConditions:
        """Return what was set."""
        return self.conditions

    def tool_row(self, row: int) -> ToolRow | None:
        """Return the stored row."""
        return self.tool_rows.get(row)

    def setter_record(self) -> SetterRecord | None:
        """Return what was set."""
        return self.setter

    def homes_mm(self) -> tuple[Vector, Vector]:
        """Return what was set."""
        return self.homes

    def work_origins_mm(self) -> tuple[Vector, ...]:
        """Return the stored origins."""
        return self.origins

    def write_tool_row(self, row: int, geometry_mm: float, wear_mm: float) -> None:
        """Store the row."""
        self._note("tool row", row, geometry_mm, wear_mm)
        self.tool_rows[row] = ToolRow(geometry_mm, wear_mm)

    def write_setter_record(self, values_mm: dict[str, float | None], line: int) -> None:
        """Store the fields."""
        self._note("setter", values_mm)
        valid = {}
        if "reference_z_mm" in values_mm:
            valid["reference_valid"] = values_mm["reference_z_mm"] is not None
        fields: dict[str, Any] = {**values_mm, **valid}
        self.setter = replace(self.setter or SetterRecord(), **fields)

    def write_work_origins(self, origins_mm: tuple[Vector, ...], line: int) -> None:
        """Store all origins."""
        self._note("origins", origins_mm)
        self.origins = origins_mm

    def write_active(self, active: ActiveOffsets, line: int) -> None:
        """Note what is in force."""
        self.active = active

    def enable_overrides(self, enabled: bool) -> None:
        """Note it."""
        self.overrides = enabled

    def message(self, text: str) -> None:
        """Note it."""
        self._note("message", text)

    def alarm(self, text: str) -> None:
        """Stop the program."""
        self._note("alarm", text)
        raise ControllerAlarm("program", text)
