"""Judging references: flagged invalid, or still flagged valid and no longer true."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from drytouch.sim.truth.truths import TruthJudge

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import Record
    from drytouch.sim.recording import Source

# A place that has moved by less than this is where it was, for a pad many millimetres wide.
PLACE_MOVED_MM = 0.1


class ReferenceJudge(TruthJudge):
    """Findings from references that are used. What was true when they were taken is kept here."""

    reference_truth: dict[str, float]
    reference_at_start: dict[str, float]
    reference_place: dict[str, tuple[float, float]]
    reference_growth: dict[str, float]

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
        state, why = self._how_stale(setter, moved, across, t)
        self._find(
            "stale-reference", t, self.source_now(), setter=setter, flagged="valid",
            moved_mm=moved, across_mm=across, state=state, why=why,
        )  # fmt: skip

    def began(self) -> None:
        """The run begins: what references of earlier days would have to be now."""
        for name, record in self.tables.records.items():
            truth = self.true_reference(name, 0.0) if record.reference_valid else None
            if truth is not None:
                self.reference_at_start[name] = truth

    def _how_stale(self, setter: str, moved: float, across: float, t: float) -> tuple[str, str]:
        """What state a reference is in, and why nobody was told."""
        limit = self.scenario.tolerances.reference_mm
        way = f"{moved:+.3f} mm in Z" if abs(moved) > limit else f"{across:.3f} mm sideways"
        state = f"it is still flagged valid and what it stands for has moved by {way}"
        start = self.reference_at_start.get(setter)
        if setter not in self.reference_truth and start is not None and across <= PLACE_MOVED_MM:
            truth = self.true_reference(setter, t)
            if truth is not None and abs(truth - start) <= limit:
                return (
                    f"it is flagged valid and what it stands for is {way} away from it",
                    "It did not hold when the run began: mistyped, or something had moved before.",
                )
        if across <= PLACE_MOVED_MM and abs(moved - self._grown(setter, t)) <= limit:
            return state, "The spindle has grown with warmth since it was taken."
        return state, (
            "Nothing told the controller that the setter, its pad or the machine's zero had moved "
            "since."
        )

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

    def source_now(self) -> Source:
        """Who is calling."""
        raise NotImplementedError
