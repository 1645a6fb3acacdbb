"""Judging rows: whose length it is, and whether the row in use is the loaded tool's."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.truth.references import ReferenceJudge

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import ToolRow
    from drytouch.sim.recording import Source
    from drytouch.sim.scenario.tool import Tool

# How near an error must be to the distance between two conventions to be taken for it.
_SAME_MM = 0.05


class RowJudge(ReferenceJudge):
    """Findings from rows of the tool table, and from what a work move counts from."""

    def length_selected(self, row: int, source: Source) -> None:
        """A row's length becomes the active offset: is it the loaded tool's?"""
        if row:
            self._check_row_in_use(row, self.kernel.agenda.now(), source)

    def work_move(self, source: Source) -> None:
        """A move in work coordinates: do the active length and no shift stand behind it?"""
        t, row = self.kernel.agenda.now(), self.tables.length_row
        self._check_shift(t, source)
        if row:
            self._check_row_in_use(row, t, source)

    def _check_row_in_use(self, row: int, t: float, source: Source) -> None:
        name, wanted = self.stage.tool_name, self.tables.rows.get(row)
        if name is None or (wanted is not None and wanted.tool == name):
            return
        right = self._row_of(name)
        if right is not None or (wanted is not None and wanted.tool is not None):
            self._find("wrong-slot", t, source, row=row, right="none" if right is None else right)

    def _tool_meant(self, row: ToolRow, measured: bool) -> Tool | None:
        """The tool that a length belongs to: what was touched; for a typed one, the row's own."""
        own = row.tool in (None, self.stage.tool_name)
        if self.stage.tool is not None and (measured or own):
            return self.stage.tool
        return self.scenario.tools.get(row.tool or "")

    def _check_row(self, number: int, row: ToolRow, t: float, source: Source) -> None:
        name = self.stage.tool_name
        right = self._row_of(name)
        if right is not None and right != number:
            self._find("wrong-slot", t, source, row=number, right=right)
        elif right is None and row.tool is not None:
            self._find("wrong-slot", t, source, row=number, right="none")

    def _row_of(self, tool: str | None) -> int | None:
        """The row that belongs to a tool of the crib."""
        rows = self.tables.rows.items()
        return next((n for n, row in rows if row.tool == tool), None) if tool else None

    def _between_conventions(self, error: float, t: float) -> float | None:
        master = self._master_length()
        bases = [self.reported_z(self.kernel.machine.table.top_z_mm, t)]
        if master:
            bases += [master, -master]
        return next((base for base in bases if abs(error - base) < _SAME_MM), None)

    def _check_shift(self, t: float, source: Source) -> None:
        shift = self.tables.shift
        worst = max(shift, key=abs)
        if worst != 0.0:
            self._find("leftover-shift", t, source, shift_mm=worst)
