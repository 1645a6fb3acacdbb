"""Parameters that read the machine: the one table of their numbers.

The standard leaves numbers above 5400 free. These are drytouch's own; a program that uses them
needs other numbers on another control. Lengths are in the units in force, positions in the machine
frame. Where nothing is stored the value is vacant (it equals ``#0``). None can be written.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drytouch.sim.program.machine import Machine, TouchResult


@dataclass(frozen=True, slots=True)
class MachineValue:
    """A run of parameter numbers with one meaning.

    ``read(machine, touch, k)`` gives the k-th value in mm or as a plain number. ``live`` values
    change while the machine moves, so that reading them early reads something else.
    """

    first: int
    last: int
    meaning: str
    is_length: bool
    live: bool
    read: Callable[[Machine, TouchResult | None, int], float | None]
    instead: str = "it is read only"


def _flag(state: bool | None) -> float | None:
    return None if state is None else float(state)


def _geometry(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    row = machine.tool_row(k + 1)
    return None if row is None else row.geometry_mm


def _wear(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    row = machine.tool_row(k + 1)
    return None if row is None else row.wear_mm


def _setter(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    record = machine.setter_record()
    if record is None:
        return None
    return (
        record.reference_z_mm,
        record.centre_x_mm,
        record.centre_y_mm,
        record.clearance_z_mm,
        record.height_mm,
    )[k]


def _setter_valid(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    record = machine.setter_record()
    return None if record is None else float(record.reference_valid)


def _setter_input(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    record = machine.setter_record()
    return None if record is None or record.input_number is None else float(record.input_number)


_TABLE_WAY = "write it with G10 L1 P(row) R(geometry) Q(wear)"

MACHINE_VALUES: tuple[MachineValue, ...] = (
    MachineValue(5601, 5699, "tool geometry, rows 1 to 99", True, False, _geometry, _TABLE_WAY),
    MachineValue(5701, 5799, "tool wear, rows 1 to 99", True, False, _wear, _TABLE_WAY),
    MachineValue(
        5801,
        5801,
        "the loaded tool's number, 0 for none",
        False,
        True,
        lambda machine, _, k: float(machine.loaded_tool),
        "load a tool with T and M6",
    ),
    MachineValue(
        5811,
        5813,
        "machine position of the gauge point: X, Y, Z",
        True,
        True,
        lambda machine, _, k: machine.position_mm[k],
    ),
    MachineValue(
        5821,
        5823,
        "machine position at the last touch's trip: X, Y, Z",
        True,
        True,
        lambda _, touch, k: None if touch is None else touch.latched_mm[k],
    ),
    MachineValue(
        5824,
        5824,
        "1 if the last touch made contact, else 0",
        False,
        True,
        lambda _, touch, k: None if touch is None else float(touch.contact),
    ),
    MachineValue(
        5830,
        5830,
        "state of the input that a touch watches: 1 on, 0 off",
        False,
        True,
        lambda machine, _, k: _flag(machine.input_is_on()),
    ),
    MachineValue(
        5831,
        5839,
        "state of inputs 1 to 9: 1 on, 0 off",
        False,
        True,
        lambda machine, _, k: _flag(machine.input_is_on(k + 1)),
    ),
    MachineValue(
        5841,
        5845,
        "the selected setter: reference Z, centre X, centre Y, clearance height, its own height",
        True,
        False,
        _setter,
    ),
    MachineValue(
        5846, 5846, "1 if the setter's reference is valid, else 0", False, False, _setter_valid
    ),
    MachineValue(5847, 5847, "the number of the setter's input", False, False, _setter_input),
)
FIRST, LAST = 5601, 5999
TOOL_ROWS = range(1, 100)
WATCHED_INPUT = 5830
INPUT_STATES = range(5830, 5840)

_BY_NUMBER = {
    number: value for value in MACHINE_VALUES for number in range(value.first, value.last + 1)
}


def machine_value(number: int) -> MachineValue | None:
    """Return the entry that parameter ``number`` belongs to, None if there is none."""
    return _BY_NUMBER.get(number)


def read_machine_value(
    number: int, machine: Machine, touch: TouchResult | None, unit_mm: float
) -> float | None:
    """Return the value of parameter ``number``, lengths in units of ``unit_mm``."""
    entry = _BY_NUMBER[number]
    value = entry.read(machine, touch, number - entry.first)
    return value / unit_mm if value is not None and entry.is_length else value


def describe() -> str:
    """Return the table as text, one line per entry, for the documentation and messages."""
    lines = []
    for entry in MACHINE_VALUES:
        span = f"#{entry.first}" if entry.first == entry.last else f"#{entry.first}-#{entry.last}"
        unit = " (length)" if entry.is_length else ""
        lines.append(f"{span:13} {entry.meaning}{unit}")
    return "\n".join(lines)
