"""Judging numbers: what the tables say against what is so.

A stored number is compared with the truth at the moment it is stored. The tip error at work zero is
what cuts: an error common to a tool's length and to work Z cancels there, and shows wherever it
does not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from drytouch.sim.truth.contacts import ContactJudge

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import Record, Tables, ToolRow
    from drytouch.sim.recording import Source
    from drytouch.sim.scenario.scenario import Scenario
    from drytouch.sim.scenario.tool import Tool

# A place that has moved by less than this is where it was, for a pad many millimetres wide.
PLACE_MOVED_MM = 0.1
# Feeds that differ by less than a tenth are late by the same to within a micrometre's tenth.
SAME_FEED = 0.1
# How near an error must be to the distance between two conventions to be taken for it.
_SAME_MM = 0.05


@dataclass(slots=True)
class Number:
    """One stored number, mm."""

    name: str
    belief: float
    truth: float
    tolerance: float
    time_s: float
    why: str = ""

    @property
    def error(self) -> float:
        """Belief minus truth, mm."""
        return self.belief - self.truth

    def to_dict(self) -> dict[str, Any]:
        """Plain data for the outcome."""
        return {
            "name": self.name,
            "belief": self.belief,
            "truth": self.truth,
            "error": self.error,
            "unit": "mm",
            "tolerance": self.tolerance,
            "time_s": self.time_s,
        }


class NumberJudge(ContactJudge):
    """Findings from tables. Mixed into ``Judge``."""

    scenario: Scenario
    tables: Tables
    numbers: dict[str, Number]
    reference_truth: dict[str, float]
    reference_place: dict[str, tuple[float, float]]
    reference_growth: dict[str, float]
    reference_feed: dict[str, float]
    typing: bool
    stored_systems: dict[str, Source]
    stored_rows: dict[int, Source]

    # ---- truths --------------------------------------------------------------------------

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

    # ---- what is stored ------------------------------------------------------------------

    def length_stored(self, number: int, row: ToolRow, source: Source) -> None:
        """A row of the tool table is written."""
        t = self.kernel.agenda.now()
        # Without a touch since the last number, it was typed, or written from a list.
        feed = None if self.typing else self.touch_feed
        self.touch_feed = None
        if feed is not None:
            self._reference_behind(t, source)
            self._check_row(number, row, t, source)
        tool = self._tool_meant(row, feed is not None)
        if tool is None or row.length_mm is None:
            return
        truth = tool.true_length_mm + self.length_base(t)
        entry = self._number(
            f"row {number} length", row.effective_mm, truth, self.scenario.tolerances.length_mm, t
        )
        self.stored_rows[number] = source
        then = self.reference_feed.get(self.tables.selected or "")
        if feed is not None and then is not None and not _alike(feed, then):
            entry.why = (
                f"The reference was touched at {then * 60.0:.0f} mm/min and the tool at "
                f"{feed * 60.0:.0f}: what comes late by time does not cancel."
            )
        if abs(entry.error) <= entry.tolerance:
            return
        if row.wear_mm and abs(entry.error - row.wear_mm) <= entry.tolerance:
            self._find("wear-counted-twice", t, source, row=number, wear_mm=row.wear_mm)
        elif (base := self._between_conventions(entry.error, t)) is not None:
            self._find("mixed-lengths", t, source, row=number, error_mm=entry.error, base_mm=base)

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

    def record_stored(
        self, setter: str, record: Record, names: tuple[str, ...], source: Source
    ) -> None:
        """Fields of a setter's record are written."""
        t, limits = self.kernel.agenda.now(), self.scenario.tolerances
        place = self.stage.places.get(setter)
        if "reference_z_mm" in names and record.reference_z_mm is not None:
            truth = self.true_reference(setter, t)
            if truth is not None and place is not None:
                self._number(
                    f"{setter} reference", record.reference_z_mm, truth, limits.reference_mm, t
                )
                self.reference_truth[setter] = truth
                self._heal_moved(setter, record, place.foot)
                self.reference_growth[setter] = self.kernel.growth(t)
                self.reference_place[setter] = (place.foot[0], place.foot[1])
                feed, self.touch_feed = self.touch_feed, None
                if feed is not None:
                    self.reference_feed[setter] = feed
        if "height_mm" in names and record.height_mm is not None:
            self.touch_feed = None
            spec = self.scenario.setter[setter]
            truth = spec.pad_height_mm - spec.pre_travel_mm
            self._number(f"{setter} height", record.height_mm, truth, limits.setter_height_mm, t)
        if ("x_mm" in names or "y_mm" in names) and place is not None:
            self._place_stored(setter, record, place.foot, t)
        if "clearance_z_mm" in names and record.clearance_z_mm is not None:
            self._clearance_stored(setter, record.clearance_z_mm, t, source)

    def _heal_moved(self, setter: str, record: Record, foot: tuple[float, float, float]) -> None:
        """A setter that had moved is referenced anew where it is known to be: no harm was done."""
        limit = self.scenario.tolerances.setter_place_mm
        for believed, true in ((record.x_mm, foot[0]), (record.y_mm, foot[1])):
            if believed is not None and abs(believed - true) > limit:
                return
        used = {f.figures["setter"] for f in self.findings if f.code == "stale-reference"}
        for index, finding in enumerate(self.findings):
            if finding.code == "setter-moved" and finding.figures["setter"] == setter not in used:
                self.findings[index] = replace(finding, severity="right")

    def _place_stored(
        self, setter: str, record: Record, foot: tuple[float, float, float], t: float
    ) -> None:
        for axis, belief in (("x", record.x_mm), ("y", record.y_mm)):
            if belief is not None:
                index = "xy".index(axis)
                truth = foot[index] - self.kernel.shift[index]
                tolerance = self.scenario.tolerances.setter_place_mm
                self._number(f"{setter} {axis}", belief, truth, tolerance, t)

    def _clearance_stored(self, setter: str, clearance: float, t: float, source: Source) -> None:
        highest = self.stage.top_under(self.stage.places)
        if highest is None:
            return
        room = clearance - self.reported_z(highest, t)
        if room < self.margin_mm:
            self._find(
                "low-clearance", t, source,
                room_mm=room, under="what stands on the table", margin_mm=self.margin_mm,
            )  # fmt: skip

    def work_z_stored(self, system: str, source: Source) -> None:
        """Work Z of a system is written."""
        t = self.kernel.agenda.now()
        self._check_shift(t, source)
        meant = self.scenario.work_system
        if meant is not None and meant != system:
            self._find("wrong-system", t, source, system=system, meant=meant)
        top = self.stock_top()
        self.touch_feed = None
        self.stored_systems[system] = source
        if top is not None:
            truth = self.reported_z(top, t) - self.length_base(t)
            belief = self.tables.systems[system][2]
            limit = self.scenario.tolerances.work_z_mm
            self._number(f"{system} z", belief, truth, limit, t)

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

    def _check_shift(self, t: float, source: Source) -> None:
        shift = self.tables.shift
        worst = max(shift, key=abs)
        if worst != 0.0:
            self._find("leftover-shift", t, source, shift_mm=worst)

    # ---- references ----------------------------------------------------------------------

    def used_reference(self, setter: str, record: Record) -> None:
        """A reference that is flagged valid is used: has its truth moved since?"""
        t = self.kernel.agenda.now()
        truth, place = self.true_reference(setter, t), self.stage.places.get(setter)
        if truth is None or place is None:
            return
        then = self.reference_truth.get(setter, record.reference_z_mm)
        moved = 0.0 if then is None else truth - then
        x, y = self.reference_place.get(setter, (place.foot[0], place.foot[1]))
        across = max(abs(place.foot[0] - x), abs(place.foot[1] - y))
        limit = self.scenario.tolerances.reference_mm
        if abs(moved) <= limit and across <= PLACE_MOVED_MM:
            return
        grown = abs(moved) > limit and abs(moved - self._grown(setter, t)) <= limit
        self._find(
            "stale-reference", t, self.source_now(), setter=setter, flagged="valid",
            moved_mm=moved, across_mm=across,
            state="it is still flagged valid and what it stands for has moved by "
            + (f"{moved:+.3f} mm in Z" if abs(moved) > limit else f"{across:.3f} mm sideways"),
            why="The spindle has grown with warmth since it was taken."
            if grown and across <= PLACE_MOVED_MM
            else "Nothing told the controller that the setter, its pad or the machine's zero had "
            "moved since.",
        )  # fmt: skip

    def _grown(self, setter: str, t: float) -> float:
        """How much of a reference's move since it was taken is growth of the spindle, mm."""
        return self.kernel.growth(t) - self.reference_growth.get(setter, 0.0)

    def _reference_behind(self, t: float, source: Source) -> None:
        """A measured length rests on the selected setter's reference: does that hold?"""
        name = self.tables.selected or ""
        record = self.tables.records.get(name)
        if record is None or record.reference_z_mm is None:
            return
        if record.reference_valid:
            self.used_reference(name, record)
            return
        self._find(
            "stale-reference", t, source, setter=name, flagged="invalid",
            state=f"it is flagged invalid ({record.stale or 'never taken'})",
            why="The controller had said so; nobody asked.",
        )  # fmt: skip

    def source_now(self) -> Source:
        """Who is calling."""
        raise NotImplementedError

    # ---- sums ----------------------------------------------------------------------------

    def _number(self, name: str, belief: float, truth: float, tolerance: float, t: float) -> Number:
        entry = Number(name, belief, truth, tolerance, t)
        self.numbers[name] = entry
        self.recorder.belief(t, f"{name} error", entry.error)
        return entry

    def tip_errors(self, t: float) -> list[Number]:
        """For each row and each system whose Z was stored in this run: the tip at work zero."""
        top = self.stock_top()
        if top is None:
            return []
        found = []
        for system in self._systems_in_use():
            for number in sorted(self.tables.rows):
                row = self.tables.rows[number]
                tool = self.scenario.tools.get(row.tool or "")
                if tool is None or row.length_mm is None:
                    continue
                if number not in self.stored_rows and row.tool != self.stage.tool_name:
                    continue
                if row.tool == self.stage.tool_name and self.stage.tool is not None:
                    tool = self.stage.tool
                origin = self.tables.systems[system][2] + self.tables.shift[2]
                commanded = origin + row.effective_mm
                tip = commanded - self.reported_z(0.0, t) - tool.true_length_mm
                found.append(
                    Number(
                        f"tip at work zero, {system}, row {number}",
                        tip,
                        top,
                        self.scenario.tolerances.tip_mm,
                        t,
                    )
                )
        return found

    def _systems_in_use(self) -> list[str]:
        """Systems whose Z was stored in this run, and the job's own if it was there before."""
        meant = self.scenario.work_system
        known = [meant] if meant is not None and meant in self.scenario.controller.systems else []
        return list(dict.fromkeys([*self.stored_systems, *known]))


def _alike(feed: float, other: float) -> bool:
    """Feeds (mm/s) near enough for what comes late by time to cancel."""
    return abs(feed - other) <= SAME_FEED * max(feed, other)
