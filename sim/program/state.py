"""All that an interpreter carries from line to line, and its coordinates.

Program position = machine position - origin - G92 shift - tool length (Z only). The three are kept
in mm, so that a change of units moves nothing; the numbered parameters keep the numbers as written.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from drytouch.sim.program.machine import ActiveOffsets, Machine, TouchResult, Vector
from drytouch.sim.program.modal import SYSTEM, SYSTEM_CODE, SYSTEM_NUMBER, Modal
from drytouch.sim.program.parameters import (
    ACTIVE_SYSTEM,
    HOMES,
    SHIFT,
    Parameters,
    origin_index,
)

KeptTables: TypeAlias = tuple[dict[int, float | None], int, Vector, Vector]
ZERO: Vector = (0.0, 0.0, 0.0)
# A work origin that differs by less was not changed by anyone: conversion to inch and back.
SAME_ORIGIN_MM = 1e-9


def add(a: Vector, b: Vector) -> Vector:
    """Return a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def scaled(a: Vector, factor: float) -> Vector:
    """Return a times factor."""
    return (a[0] * factor, a[1] * factor, a[2] * factor)


@dataclass(slots=True)
class State:
    """Modal codes, feed (mm/min), speed, tool, offsets (mm), parameters, last touch, position."""

    modal: Modal = field(default_factory=Modal)
    parameters: Parameters = field(default_factory=Parameters)
    feed_mm_per_min: float = 0.0
    speed_rpm: float = 0.0
    selected_tool: int = 0
    origin_mm: Vector = ZERO
    shift_mm: Vector = ZERO
    tool_length_mm: float = 0.0
    tool_row: int = 0
    touch: TouchResult | None = None
    position_mm: Vector = ZERO
    origins_seen: tuple[Vector, ...] = ()

    @property
    def offset_mm(self) -> Vector:
        """Machine position minus program position."""
        x, y, z = add(self.origin_mm, self.shift_mm)
        return (x, y, z + self.tool_length_mm)

    @property
    def program_position(self) -> Vector:
        """Where the program is, in its own units."""
        x, y, z = self.offset_mm
        unit = self.modal.unit_mm
        a, b, c = self.position_mm
        return ((a - x) / unit, (b - y) / unit, (c - z) / unit)

    @property
    def system(self) -> int:
        """The active work system, 1 to 9."""
        return SYSTEM_NUMBER[self.modal.system]

    def active(self) -> ActiveOffsets:
        """Return what the machine is told about the offsets in force."""
        return ActiveOffsets(
            self.system, self.origin_mm, self.shift_mm, self.tool_length_mm, self.tool_row
        )

    def kept_tables(self) -> KeptTables:
        """Return what the tables hold and what of them is in force, to be put back."""
        return self.parameters.tables(), self.modal.system, self.origin_mm, self.shift_mm

    def restore_tables(self, kept: KeptTables) -> None:
        """Put back what ``kept_tables`` returned."""
        tables, system, self.origin_mm, self.shift_mm = kept
        self.parameters.restore_tables(tables)
        self.modal = self.modal.with_g(SYSTEM, system)


def start_state(
    machine: Machine,
    parameters: Parameters | None = None,
    modal: Modal | None = None,
    length: tuple[int, float] = (0, 0.0),
) -> State:
    """Return the state at power-on: the stored shift is in force, the tool length is not.

    ``modal`` are other codes in force than those of power-on; ``length`` a row, and the tool
    length (mm) that is in force from it.
    """
    state = State(parameters=parameters or Parameters(), modal=modal or Modal())
    state.tool_row, state.tool_length_mm = length
    kept = state.parameters
    for first, home in zip(HOMES, machine.homes_mm(), strict=True):
        kept.write_vector(first, scaled(home, 1 / state.modal.unit_mm))
    system = round(kept.read(ACTIVE_SYSTEM) or 1)
    state.modal = state.modal.with_g(12, SYSTEM_CODE[system])
    take_from_machine(state, machine)
    state.origin_mm = scaled(kept.vector(origin_index(system)), state.modal.unit_mm)
    state.shift_mm = scaled(kept.vector(SHIFT), state.modal.unit_mm)
    machine.write_active(state.active(), 0)
    return state


def take_from_machine(state: State, machine: Machine) -> None:
    """Take over what others changed meanwhile: the position, and work origins set by hand."""
    state.position_mm = machine.position_mm
    unit = state.modal.unit_mm
    origins = machine.work_origins_mm()
    for system, origin in enumerate(origins, 1):
        seen = state.origins_seen[system - 1] if state.origins_seen else None
        if seen is not None and all(
            abs(a - b) <= SAME_ORIGIN_MM for a, b in zip(seen, origin, strict=True)
        ):
            continue
        state.parameters.write_vector(origin_index(system), scaled(origin, 1 / unit))
        if system == state.system:
            state.origin_mm = origin
    state.origins_seen = origins
