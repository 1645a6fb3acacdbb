"""What is really so, in the controller's own terms: heights that its readout would show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.truth.signals import SignalJudge

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import Tables
    from drytouch.sim.scenario.scenario import Scenario


class TruthJudge(SignalJudge):
    """Truths to compare belief with, mm."""

    scenario: Scenario
    tables: Tables

    def reported_z(self, physical_z: float, t: float) -> float:
        """Machine Z that the readout shows when the face, coming down, is really at a height."""
        kernel = self.kernel
        lost = kernel.axes[2].backlash_mm / 2.0
        return physical_z - kernel.shift[2] - lost + kernel.growth(t)

    def true_reference(self, setter: str, t: float) -> float | None:
        """Machine Z at which a tool of length 0 trips the setter now."""
        trip = self.stage.pad_trip_z(setter)
        return None if trip is None else self.reported_z(trip, t)

    def stock_top(self) -> float | None:
        """World height of the stock's top, mm."""
        names = [
            name
            for name in self.stage.places
            if name in self.scenario.stock and self.scenario.stock[name].kind == "stock"
        ]
        return self.stage.top_under(names) if names else None

    def length_base(self, t: float) -> float:
        """What the machine's convention adds to a length from the face, mm."""
        convention = self.kernel.machine.habits.length_convention
        if convention == "difference":
            return -(self._master_length() or 0.0)
        if convention == "table":
            return self.reported_z(self.kernel.machine.table.top_z_mm, t)
        if convention == "work":
            top = self.stock_top()
            return 0.0 if top is None else self.reported_z(top, t)
        return 0.0

    def _master_length(self) -> float | None:
        record = self.tables.records.get(self.tables.selected or "")
        return record.master_length_mm if record is not None else None
