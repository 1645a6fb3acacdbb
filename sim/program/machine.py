"""What the interpreter needs of a machine: a narrow face, always in mm, mm/min and degrees.

Everything that takes simulated time is a generator, because the machine runs as a process on a
simulated clock: ``yield from machine.feed(...)``. The interpreter hands through whatever is
yielded and never looks at it. All positions are of the spindle's gauge point in the machine frame.

A machine refuses by raising ``ControllerAlarm``; the interpreter then stops the program and takes
back what the failed line wrote to tables.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import Any, Protocol, TypeAlias, runtime_checkable

Vector: TypeAlias = tuple[float, float, float]
Motion: TypeAlias = Generator[Any, Any, None]


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc or helix about an axis parallel to one of the machine's.

    ``end_mm`` and ``centre_mm`` are in the machine frame; ``axes`` are the indices of the plane's
    first, second and third axis, so that a positive ``turn_rad`` turns first towards second.
    ``radius_mm`` is the start's; ``length_mm`` is measured along the helix.
    """

    end_mm: Vector
    centre_mm: Vector
    axes: tuple[int, int, int]
    turn_rad: float
    radius_mm: float
    length_mm: float


@dataclass(frozen=True, slots=True)
class TouchResult:
    """How a touch ended; ``latched_mm`` is the trip position, or the end if there was none."""

    contact: bool
    latched_mm: Vector


@dataclass(frozen=True, slots=True)
class TouchConditions:
    """What must hold before a touch on the input that is watched now.

    ``fitted``: what the input belongs to is there and switched on. ``feed_limits_mm_per_min``:
    least and greatest feed of a touch.
    """

    fitted: bool = True
    turning_allowed: bool = False
    feed_limits_mm_per_min: tuple[float, float] = (0.0, float("inf"))


@dataclass(frozen=True, slots=True)
class ToolRow:
    """One row of the tool table, as the controller believes it."""

    geometry_mm: float = 0.0
    wear_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class SetterRecord:
    """What the controller has stored about the selected setter; None where nothing is stored.

    ``length_base_mm`` is what this machine's way of writing lengths adds to a length from the
    spindle face. Feeds are in mm/min.
    """

    reference_z_mm: float | None = None
    centre_x_mm: float | None = None
    centre_y_mm: float | None = None
    clearance_z_mm: float | None = None
    height_mm: float | None = None
    master_length_mm: float | None = None
    reference_valid: bool = False
    input_number: int | None = None
    input_proved: bool = False
    fast_mm_per_min: float | None = None
    slow_mm_per_min: float | None = None
    back_off_mm: float | None = None
    search_mm: float | None = None
    agree_mm: float | None = None
    length_base_mm: float | None = None


@dataclass(frozen=True, slots=True)
class ActiveOffsets:
    """What stands between program coordinates and the machine frame now."""

    system: int
    origin_mm: Vector
    shift_mm: Vector
    tool_length_mm: float
    tool_row: int


@runtime_checkable
class Machine(Protocol):
    """The machine that a program runs on."""

    @property
    def time_s(self) -> float:
        """Simulated time."""

    @property
    def position_mm(self) -> Vector:
        """Where the controller believes the gauge point to be."""

    @property
    def travel_mm(self) -> tuple[Vector, Vector] | None:
        """Lowest and highest corner of the travel, or None where the machine checks by itself."""

    @property
    def limits_mm(self) -> tuple[Vector, Vector] | None:
        """Lowest and highest corner of the travel, for a program to read; None where unknown."""

    @property
    def slots(self) -> int:
        """How many rows the tool table has; rows count from 1."""

    @property
    def loaded_tool(self) -> int:
        """The tool that the controller thinks is in the spindle; 0 for none."""

    # Motion and time.
    def work_move(self, line: int) -> None:
        """Take note that the line's move counts from the work system, shift and tool length."""

    def rapid(self, target_mm: Vector, line: int) -> Motion:
        """Go to ``target_mm`` at the rapid rate."""

    def feed(self, target_mm: Vector, feed_mm_per_min: float, line: int) -> Motion:
        """Go straight to ``target_mm``."""

    def arc(self, arc: Arc, feed_mm_per_min: float, line: int) -> Motion:
        """Follow ``arc``; the feed is that along the helix."""

    def touch(
        self, target_mm: Vector, feed_mm_per_min: float, error_if_no_contact: bool, line: int
    ) -> Generator[Any, Any, TouchResult]:
        """Feed towards ``target_mm`` until the watched input trips, and stop.

        Rests where it stopped; the interpreter orders the way back. With ``error_if_no_contact``
        the machine may raise its own alarm; otherwise it returns ``contact=False`` at the end.
        """

    def already_tripped(self, refused: bool, line: int) -> None:
        """Take note that a touch is asked for while its input is on: it moves nothing.

        ``refused`` tells a touch that ends the program; the machine may raise its own alarm.
        """

    def dwell(self, seconds: float) -> Motion:
        """Wait."""

    def pause(self, optional: bool, text: str) -> Motion:
        """Wait for cycle start; ``optional`` tells a stop by M1, which the interpreter allowed."""

    def turn_spindle(self, direction: int, speed_rpm: float) -> Motion:
        """Turn clockwise (1), against it (-1), or stop (0)."""

    def orient_spindle(self, angle_deg: float) -> Motion:
        """Stop the spindle and hold it at an angle."""

    def load_tool(self, number: int) -> Motion:
        """Bring tool ``number`` (0: none) into the spindle."""

    # What the machine tells.
    def input_is_on(self, number: int | None = None) -> bool | None:
        """State of an input, or of the watched one; None where there is no such input."""

    def touch_conditions(self) -> TouchConditions:
        """Tell what must hold before a touch."""

    def tool_row(self, row: int) -> ToolRow | None:
        """Return a row of the tool table, None where nothing is stored."""

    def setter_record(self) -> SetterRecord | None:
        """Return the record of the selected setter, None where there is none."""

    def homes_mm(self) -> tuple[Vector, Vector]:
        """Return the home positions of G28 and G30."""

    def work_origins_mm(self) -> tuple[Vector, ...]:
        """Return the origins of the nine work coordinate systems."""

    # What the interpreter writes.
    def write_tool_row(self, row: int, geometry_mm: float, wear_mm: float) -> None:
        """Store one row of the tool table, both numbers at once."""

    def write_setter_record(self, values_mm: dict[str, float | None], line: int) -> None:
        """Store fields of the selected setter's record, by the names of ``SetterRecord``.

        A reference that is written is valid from then on; None empties a field.
        """

    def write_work_origins(self, origins_mm: tuple[Vector, ...], line: int) -> None:
        """Store the origins of all nine work coordinate systems at once."""

    def write_active(self, active: ActiveOffsets, line: int) -> None:
        """Take note of what program coordinates mean now; the machine does not move."""

    def enable_overrides(self, enabled: bool) -> None:
        """Let the override knobs work, or not (M48, M49)."""

    def message(self, text: str) -> None:
        """Show a message."""

    def alarm(self, text: str) -> None:
        """Stop with an alarm of the program's own until reset."""
