"""Reading values while a program runs: parameters, the machine, and what reading ahead does."""

from __future__ import annotations

from collections import deque

from drytouch.sim.program import machine_values
from drytouch.sim.program.block import Block, build_block
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.line import Line, Value
from drytouch.sim.program.machine import Machine
from drytouch.sim.program.parameters import TOUCH_RESULT
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.state import State
from drytouch.sim.program.values import evaluate, nearest_integer, parameter_index

LIVE_NUMBERS = (
    *range(TOUCH_RESULT, TOUCH_RESULT + 6),
    *(
        number
        for entry in machine_values.MACHINE_VALUES
        if entry.live
        for number in range(entry.first, entry.last + 1)
    ),
)
"""What moves of the machine change: a control that reads ahead reads these too early."""
_LIVE = frozenset(LIVE_NUMBERS)


class Reading:
    """Gives lines their values. ``used_machine`` tells whether any came from the machine."""

    def __init__(self, machine: Machine, settings: LanguageSettings, state: State) -> None:
        self.machine = machine
        self.settings = settings
        self.state = state
        self.used_machine = False
        # The oldest entry is what a control that reads ahead sees now.
        self._earlier: deque[dict[int, float | None]] = deque(maxlen=settings.read_ahead_lines + 1)

    def read(self, number: int) -> float | None:
        """Return the value of a parameter, numbered ones and those that read the machine."""
        if self.settings.read_ahead_lines and number in _LIVE and self._earlier:
            return self._earlier[0].get(number)
        return self._read_now(number)

    def _read_now(self, number: int) -> float | None:
        if machine_values.machine_value(number) is None:
            return self.state.parameters.read(number)
        self.used_machine = True
        return machine_values.read_machine_value(
            number, self.machine, self.state.touch, self.state.modal.unit_mm
        )

    def start_memory(self) -> None:
        """Forget what was read early: after a stop the control reads on from where it stands."""
        self._earlier.clear()
        self.remember()

    def remember(self) -> None:
        """Note, after a line, what a line that is read early would see."""
        if self.settings.read_ahead_lines:
            self._earlier.append({number: self._read_now(number) for number in LIVE_NUMBERS})

    def value(self, value: Value, at: int) -> float | None:
        """Return what a value at place ``at`` comes to."""
        try:
            return evaluate(value, self.read, self.settings)
        except ProgramError as error:
            raise error.located(column=at + 1) from None

    def integer(self, value: Value, at: int, what: str) -> int:
        """Return a label or loop number; raises E-FLOW if it is no integer."""
        number = self.value(value, at) or 0.0
        whole = nearest_integer(number)
        if whole is None:
            raise ProgramError("E-FLOW", f"{what} is an integer, not {number:g}", column=at + 1)
        return whole

    def line(self, line: Line) -> tuple[list[tuple[int, float | None]], Block]:
        """Return the settings (parameter, value) and the block of a line; changes nothing."""
        writes = []
        for setting in line.settings:
            value = self.value(setting.value, setting.at)
            try:
                index = parameter_index(setting.index, self.read, self.settings)
                self.state.parameters.check_writable(index, value)
            except ProgramError as error:
                raise error.located(column=setting.at + 1) from None
            writes.append((index, value))
        words = []
        for word in line.words:
            value = self.value(word.value, word.at)
            if value is not None:
                words.append((word.letter, value, word.at))
        return writes, build_block(words)
