"""Judging numbers: what the tables say against what is so.

A stored number is compared with the truth at the moment it is stored. The tip error at work zero is
what cuts: an error common to a tool's length and to work Z cancels there, and shows wherever it
does not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.truth.number import Number
from drytouch.sim.truth.rows import RowJudge

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import Record, ToolRow
    from drytouch.sim.recording import Source

# Feeds that differ by less than a tenth are late by the same to within a micrometre's tenth.
SAME_FEED = 0.1


class NumberJudge(RowJudge):
    """Findings from what is stored."""

    numbers: dict[str, Number]
    reference_feed: dict[str, float]
    typing: bool
    stored_systems: dict[str, Source]
    stored_rows: dict[int, Source]

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
            entry = self._number(f"{system} z", belief, truth, limit, t)
            entry.why = self._behind_work_z(entry, t)

    def _behind_work_z(self, entry: Number, t: float) -> str:
        """Which stored numbers make a work Z false; empty where they don't account for it."""
        limits, setter, slot = self.scenario.tolerances, self.tables.selected, self.tables.slot
        behind = []
        height = self.tables.records[setter].height_mm if setter else None
        if setter and height is not None:
            spec = self.scenario.setter[setter]
            off = height - (spec.pad_height_mm - spec.pre_travel_mm)
            behind.append((f"the stored height of {setter}", off, limits.setter_height_mm))
        row, tool = self.tables.rows.get(slot), self.stage.tool
        if row is not None and tool is not None and row.length_mm is not None:
            off = row.effective_mm - tool.true_length_mm - self.length_base(t)
            behind.append((f"the length in row {slot}", off, limits.length_mm))
        false = [(name, off) for name, off, limit in behind if abs(off) > limit]
        # Stock top = trip - length - height: each error comes out with the other sign.
        if not false or abs(entry.error + sum(off for _, off in false)) > entry.tolerance:
            return ""
        said = " and ".join(f"{name}, off by {off * 1e3:+.0f} um" for name, off in false)
        return f"It was computed from {said}."

    def _number(self, name: str, belief: float, truth: float, tolerance: float, t: float) -> Number:
        entry = Number(name, belief, truth, tolerance, t, source=self.source_now())
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
