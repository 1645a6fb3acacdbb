"""One line in execution: what its steps share."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program.block import AXES, Block
from drytouch.sim.program.line import comment_kind
from drytouch.sim.program.machine import Machine, Motion, ToolRow, Vector
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.state import ZERO, State

Steps: TypeAlias = Generator[Any, Any, None]

# Rounding of offsets leaves less than this; a travel limit must not refuse its own value.
TRAVEL_SLACK_MM = 1e-6


@dataclass(slots=True)
class Run:
    """One line in execution.

    ``row_writes``, ``setter_writes`` and ``origins_changed`` are what the line wants in the
    tables; they are written late, and ``committed`` tells that they are. An origin is named by its
    system (1 to 9) and axis (0 to 2).
    """

    state: State
    machine: Machine
    settings: LanguageSettings
    block: Block
    line: int
    optional_stop: bool = False
    origins_changed: set[tuple[int, int]] = field(default_factory=set)
    row_writes: dict[int, ToolRow] = field(default_factory=dict)
    setter_writes: dict[str, float | None] = field(default_factory=dict)
    committed: bool = False

    def comment(self, text: str) -> None:
        """Act on a comment: show a message, raise an alarm, or nothing."""
        kind = comment_kind(text)
        shown = text.partition(",")[2].strip()
        if kind == "MSG":
            self.machine.message(shown)
        elif kind == "ALARM":
            self.machine.alarm(shown)
            # A machine that only notes the alarm must not carry on either.
            raise ControllerAlarm("program", shown)

    @property
    def unit_mm(self) -> float:
        """One program unit in mm."""
        return self.state.modal.unit_mm

    def set_g(self, group: int) -> int:
        """Put the line's code of ``group`` in force and return it."""
        code = self.block.g[group]
        self.state.modal = self.state.modal.with_g(group, code)
        return code

    def tell_active(self) -> None:
        """Let the machine know which offsets are in force."""
        self.machine.write_active(self.state.active(), self.line)

    def target(self) -> Vector:
        """Return the end of the line's move in the machine frame, in mm."""
        state, values = self.state, self.block.values
        if self.block.one_shot == 530:
            base = ZERO
        elif state.modal.distance == 910:
            base = state.position_mm
        else:
            base = state.offset_mm
        x, y, z = (
            base[k] + values[axis] * self.unit_mm if axis in values else state.position_mm[k]
            for k, axis in enumerate(AXES)
        )
        return (x, y, z)

    @property
    def counts_from_tables(self) -> bool:
        """Whether the line's axis words count from the work system, shift and tool length."""
        absolute = self.state.modal.distance == 900
        return absolute and self.block.axes != "" and self.block.one_shot != 530

    def check_travel(self, low: Vector, high: Vector) -> None:
        """Raise E-TRAVEL unless the box lies inside the machine's travel."""
        travel = self.machine.travel_mm
        if travel is None:
            return
        for k, axis in enumerate(AXES):
            least, most = travel[0][k] - TRAVEL_SLACK_MM, travel[1][k] + TRAVEL_SLACK_MM
            for value in (low[k], high[k]):
                if not least <= value <= most:
                    raise self.block.wrong(
                        "E-TRAVEL",
                        f"{axis} would go to {value:.3f} mm in machine coordinates; it travels "
                        f"from {travel[0][k]:g} to {travel[1][k]:g} mm",
                        axis,
                    )

    def rapid(self, target: Vector) -> Motion:
        """Go there at the rapid rate."""
        self.check_travel(target, target)
        if target != self.state.position_mm:
            yield from self.machine.rapid(target, self.line)
        self.state.position_mm = target

    def feed_for(self, length_mm: float) -> float:
        """Return the feed in mm/min of a move of ``length_mm``; raises E-FEED if there is none."""
        if self.state.modal.feed_mode == 930:
            return max(length_mm, 0.0) * self.block.values["F"]
        if self.state.feed_mm_per_min <= 0:
            raise self.block.wrong("E-FEED", "the feed is 0: the program has set no F yet")
        return self.state.feed_mm_per_min
