"""Parameters that read the machine: the one table of their numbers.

The standard leaves numbers above 5400 free. These are drytouch's own; a program that uses them
needs other numbers on another control. Lengths are in the units in force, positions in the machine
frame. Where nothing is stored the value is vacant (it equals ``#0``). A program may write the
setter's record (reference, place, clearance height, height, master tool); everything else it can
only read.
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
    fields: tuple[str, ...] = ()

    @property
    def writable(self) -> bool:
        """Whether a program may write it: it then names fields of the setter's record."""
        return bool(self.fields)


def _flag(state: bool | None) -> float | None:
    return None if state is None else float(state)


def _geometry(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    row = machine.tool_row(k + 1)
    return None if row is None else row.geometry_mm


def _wear(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    row = machine.tool_row(k + 1)
    return None if row is None else row.wear_mm


def _record(name: str) -> Callable[[Machine, TouchResult | None, int], float | None]:
    """Return a reader of one field of the selected setter's record."""

    def read(machine: Machine, _: TouchResult | None, k: int) -> float | None:
        record = machine.setter_record()
        value = None if record is None else getattr(record, name)
        return None if value is None else float(value)

    return read


def _setter(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    record = machine.setter_record()
    return None if record is None else getattr(record, _PLACE[k])


def _feeds(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    record = machine.setter_record()
    return None if record is None else getattr(record, _WAY[k])


def _limit(machine: Machine, _: TouchResult | None, k: int) -> float | None:
    limits = machine.limits_mm
    return None if limits is None else limits[1 - k // 3][k % 3]


_PLACE = ("reference_z_mm", "centre_x_mm", "centre_y_mm", "clearance_z_mm", "height_mm")
_WAY = ("fast_mm_per_min", "slow_mm_per_min", "back_off_mm", "search_mm", "agree_mm")
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
        fields=_PLACE,
    ),
    MachineValue(
        5846,
        5846,
        "1 if the setter's reference is valid, else 0",
        False,
        False,
        _record("reference_valid"),
        "writing the reference (#5841) makes it valid",
    ),
    MachineValue(
        5847, 5847, "the number of the setter's input", False, False, _record("input_number")
    ),
    MachineValue(
        5848,
        5848,
        "the length of the master tool that the reference was taken with",
        True,
        False,
        _record("master_length_mm"),
        fields=("master_length_mm",),
    ),
    MachineValue(
        5849,
        5853,
        "how the setter is touched: fast feed, slow feed, back-off, search, agreement",
        True,
        False,
        _feeds,
    ),
    MachineValue(
        5854,
        5854,
        "what this machine adds to a length from the spindle face before it stores it",
        True,
        False,
        _record("length_base_mm"),
    ),
    MachineValue(
        5855,
        5855,
        "1 if the watched input was seen off, on and off, else 0",
        False,
        True,
        _record("input_proved"),
        "press the pad by hand with the drives off",
    ),
    MachineValue(
        5861,
        5866,
        "the travel: highest X, Y, Z, then lowest X, Y, Z",
        True,
        False,
        _limit,
    ),
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


def setter_field(number: int) -> str | None:
    """Return the field of the setter's record that writing ``number`` stores, None if none."""
    entry = _BY_NUMBER.get(number)
    return entry.fields[number - entry.first] if entry is not None and entry.writable else None


def describe() -> str:
    """Return the table as text, one line per entry, for the documentation and messages."""
    lines = []
    for entry in MACHINE_VALUES:
        span = f"#{entry.first}" if entry.first == entry.last else f"#{entry.first}-#{entry.last}"
        notes = ["length"] if entry.is_length else []
        notes += ["may be written"] if entry.writable else []
        more = f" ({', '.join(notes)})" if notes else ""
        lines.append(f"{span:13} {entry.meaning}{more}")
    return "\n".join(lines)
