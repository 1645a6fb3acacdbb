"""The numbered parameters: what may be read and written, and what a call keeps to itself."""

from __future__ import annotations

from collections.abc import Iterable

from drytouch.sim.program import machine_values
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.machine import Vector
from drytouch.sim.program.values import nearest_integer

LAST_WRITABLE = 5399
LAST_LOCAL = 33
TOUCH_RESULT = 5061
HOMES = (5161, 5181)
SHIFT = 5211
ACTIVE_SYSTEM = 5220
SYSTEM_COUNT = 9


def origin_index(system: int) -> int:
    """Return the parameter of the X origin of work system 1 to 9."""
    return 5201 + 20 * system


def origin_place(number: int) -> tuple[int, int] | None:
    """Return work system (1 to 9) and axis (0 to 2) of an origin's parameter, None for others."""
    system, axis = divmod(number - origin_index(1), 20)
    return (system + 1, axis) if 0 <= system < SYSTEM_COUNT and axis < 3 else None


REQUIRED = frozenset(
    {5220, *range(5161, 5164), *range(5181, 5184), *range(5211, 5214)}
    | {origin_index(s) + axis for s in range(1, SYSTEM_COUNT + 1) for axis in range(3)}
)
"""What a parameter file must hold, and what can't be vacant."""

TABLES = range(SHIFT, origin_index(SYSTEM_COUNT) + 6)
"""G92 shift, active system and work systems: put back when their line fails."""


class Parameters:
    """Parameters 1 to 5399; during a call #1-#33 are the call's own.

    Numbers are as the program wrote them: lengths mean the units in force when they are used.
    """

    def __init__(self, values: dict[int, float] | None = None) -> None:
        self.common: dict[int, float | None] = dict(values or {})
        self.frames: list[dict[int, float | None]] = []
        self.common.setdefault(ACTIVE_SYSTEM, 1.0)

    def read(self, number: int) -> float | None:
        """Return the value, None where it is vacant; never written ones are 0 outside calls."""
        if 0 < number <= LAST_LOCAL and self.frames:
            return self.frames[-1].get(number)
        if 0 < number <= LAST_WRITABLE:
            return self.common.get(number, 0.0)
        if number == 0:
            return None
        raise ProgramError(
            "E-PARAM",
            f"there is no parameter #{number}; #1 to #{LAST_WRITABLE} are the program's, and "
            f"#{machine_values.FIRST} to #{machine_values.LAST} read the machine",
        )

    def check_writable(self, number: int, value: float | None) -> None:
        """Raise E-PARAM or E-RANGE unless ``#number=value`` is allowed."""
        entry = machine_values.machine_value(number)
        if entry is not None and entry.writable:
            return
        if entry is not None:
            raise ProgramError(
                "E-PARAM", f"#{number} reads the machine ({entry.meaning}): {entry.instead}"
            )
        if not 0 < number <= LAST_WRITABLE:
            raise ProgramError("E-PARAM", f"#{number} can't be written; #1 to #{LAST_WRITABLE} can")
        if number in REQUIRED and value is None:
            raise ProgramError("E-PARAM", f"#{number} can't be made vacant: the machine needs it")
        if number == ACTIVE_SYSTEM and (value is None or not _is_system(value)):
            raise ProgramError("E-RANGE", f"#{number} takes 1 to 9, not {value or 0:g}")

    def write(self, number: int, value: float | None) -> None:
        """Store a value that ``check_writable`` has passed."""
        if number <= LAST_LOCAL and self.frames:
            self.frames[-1][number] = value
        else:
            self.common[number] = value

    def vector(self, first: int) -> Vector:
        """Return three parameters from ``first`` on, vacant ones as 0."""
        x, y, z = (self.common.get(first + k) or 0.0 for k in range(3))
        return (x, y, z)

    def write_vector(self, first: int, values: Iterable[float]) -> None:
        """Store three parameters from ``first`` on."""
        for number, value in enumerate(values, first):
            self.common[number] = value

    def tables(self) -> dict[int, float | None]:
        """Return a copy of the shift, active system and work systems."""
        return {number: self.common[number] for number in TABLES if number in self.common}

    def restore_tables(self, kept: dict[int, float | None]) -> None:
        """Put back what ``tables`` returned."""
        for number in TABLES:
            self.common.pop(number, None)
        self.common.update(kept)


def _is_system(value: float) -> bool:
    whole = nearest_integer(value)
    return whole is not None and 1 <= whole <= SYSTEM_COUNT
