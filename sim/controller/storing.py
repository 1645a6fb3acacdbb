"""Writing the tables: rows, work systems, setter records, and what is selected."""

from __future__ import annotations

from typing import Any

from drytouch.sim.controller.alarms import Alarms
from drytouch.sim.errors import StepError
from drytouch.sim.twin.line import Vector


class Storing(Alarms):
    """Every change of a table goes through here, into the recording and before the judge."""

    def store_length(
        self, number: int, length_mm: float, place: str = "centre", keep_wear: bool = False
    ) -> None:
        """Write a measured length into a row; the old wear is cleared with it."""
        row = self.row(number)
        row.length_mm = length_mm
        row.place = place
        self._believe(f"row {number} length", length_mm)
        if row.wear_mm and not keep_wear:
            row.wear_mm = 0.0
            self._believe(f"row {number} wear", 0.0)
        self._judge.length_stored(number, row, self.source)

    def store_row(self, number: int, length_mm: float, wear_mm: float) -> None:
        """Write geometry and wear of a row, both at once."""
        row = self.row(number)
        if row.length_mm != length_mm:
            row.place = "centre"
        row.length_mm, row.wear_mm = length_mm, wear_mm
        self._believe(f"row {number} length", length_mm)
        self._believe(f"row {number} wear", wear_mm)
        # Without a touch that it came from, the number is one that a person once typed.
        self._judge.typing = self._judge.touch_feed is None
        try:
            self._judge.length_stored(number, row, self.source)
        finally:
            self._judge.typing = False

    def store_wear(self, number: int, wear_mm: float) -> None:
        """Write a row's wear."""
        row = self.row(number)
        row.wear_mm = wear_mm
        self._believe(f"row {number} wear", wear_mm)
        self._judge.length_stored(number, row, self.source)

    def store_system(self, system: str, **axes: float) -> None:
        """Write origins (x=, y=, z=, machine mm) of a work system."""
        if system not in self.tables.systems:
            raise StepError(f"no work system '{system}'", "use G54 to G59.3")
        origin = list(self.tables.systems[system])
        for name, value in axes.items():
            origin["xyz".index(name)] = value
            self._believe(f"{system} {name}", value)
        self.tables.systems[system] = (origin[0], origin[1], origin[2])
        if "z" in axes:
            self._judge.work_z_stored(system, self.source)

    def store_record(self, setter: str, **values: Any) -> None:
        """Write fields of a setter's record."""
        record = self.record(setter)
        for name, value in values.items():
            setattr(record, name, value)
            self._believe(f"setter {setter} {name}", value)
        if "input" in values and setter in self._kernel.pads:
            self._kernel.inputs_forget()
        self._judge.record_stored(setter, record, tuple(values), self.source)

    def select_setter(self, setter: str) -> None:
        """Choose whose input a touch watches; proof starts again."""
        self.record(setter)
        if self.tables.selected != setter:
            self.tables.selected = setter
            self._kernel.inputs_forget()
            self._believe("selected setter", setter)

    def select_system(self, system: str) -> None:
        """Make a work system the active one."""
        if system not in self.tables.systems:
            raise StepError(f"no work system '{system}'", "use G54 to G59.3")
        self.tables.system = system
        self._believe("active system", system)

    def set_shift(self, shift_mm: Vector) -> None:
        """Shift all work systems (G92), mm."""
        self.tables.shift = shift_mm
        self._believe("shift z", shift_mm[2])

    def select_length(self, row: int) -> None:
        """Make a row's length the active offset; 0 cancels it."""
        self.tables.length_row = row
        self._believe("active length row", row)
        self._judge.length_selected(row, self.source)

    def forget_references(self, why: str) -> None:
        """Flag every setter's reference invalid, with the reason."""
        for name, record in self.tables.records.items():
            if record.reference_z_mm is not None:
                record.reference_valid = False
                record.stale = why
                self._believe(f"setter {name} reference_valid", False)

    def emergency_stopped(self) -> None:
        """What this machine forgets when its emergency stop was pressed."""
        if not self._machine.absolute_encoders:
            self.homed = False
        if not self._machine.emergency_stop.keeps_reference:
            self.forget_references("an emergency stop")

    def believe_slot(self, slot: int) -> None:
        """Tell the controller which row the tool in the spindle belongs to."""
        self.tables.slot = slot
        self._believe("loaded slot", slot)

    def _believe(self, key: str, value: Any) -> None:
        self._kernel.recorder.belief(self._kernel.agenda.now(), key, value)
