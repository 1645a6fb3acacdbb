"""The judge: the only part that sees both truth and belief. It changes neither."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.truth.finding import Finding
from drytouch.sim.truth.number import Number
from drytouch.sim.truth.numbers import NumberJudge
from drytouch.sim.truth.verdict import worst

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.controller.tables import Tables
    from drytouch.sim.recording import Recorder, Source
    from drytouch.sim.scenario.scenario import Scenario
    from drytouch.sim.twin.kernel import Kernel
    from drytouch.sim.twin.stage import Stage


class Judge(NumberJudge):
    """Collects findings and numbers while the twin runs, and gives the verdict at the end."""

    controller: Controller

    def __init__(
        self,
        scenario: Scenario,
        kernel: Kernel,
        stage: Stage,
        tables: Tables,
        recorder: Recorder,
    ) -> None:
        self.scenario = scenario
        self.kernel = kernel
        self.stage = stage
        self.tables = tables
        self.recorder = recorder
        self.margin_mm = scenario.tolerances.clearance_margin_mm
        self.findings: list[Finding] = []
        self.alarms: list[tuple[float, ControllerAlarm]] = []
        self.alarm_sources: list[Source] = []
        self.numbers: dict[str, Number] = {}
        self.reference_truth: dict[str, float] = {}
        self.reference_at_start: dict[str, float] = {}
        self.reference_growth: dict[str, float] = {}
        self.reference_feed: dict[str, float] = {
            name: record.slow_mm_per_min / 60.0
            for name, record in tables.records.items()
            if record.reference_valid
        }
        # A reference that was there before the run was taken where the record says it stood.
        self.reference_place: dict[str, tuple[float, float]] = {
            name: (record.x_mm + kernel.shift[0], record.y_mm + kernel.shift[1])
            for name, record in tables.records.items()
            if record.x_mm is not None and record.y_mm is not None
        }
        self.touch_feed: float | None = None  # of the last latch that no number has used, mm/s
        self.typing = False  # a number that is stored now was typed, not measured
        self.stored_systems: dict[str, Source] = {}
        self.stored_rows: dict[int, Source] = {}
        self.hand: str | None = None
        self.crushed: tuple[float, float, float] | None = None
        self._seen: set[tuple[Any, ...]] = set()

    def source_now(self) -> Source:
        """Who is calling."""
        return self.controller.source

    def alarm(self, alarm: ControllerAlarm, t: float, source: Source) -> None:
        """The controller has stopped the program."""
        self.alarms.append((t, alarm))
        self.alarm_sources.append(source)

    def homed(self, t: float) -> None:
        """The axes have been sent to their switches."""

    def hand_in(self, where: str | None, t: float, source: Source) -> None:
        """A hand goes in (a place), or comes out (None)."""
        self.hand = where
        self.recorder.event(t, "hand", where)
        if where is None:
            return
        if self.kernel.line is not None:
            self._find("hand-in-reach", t, source, where=where, what="an axis was moving")
        elif self.kernel.powered and not self.kernel.estopped:
            self._find("hand-in-reach", t, source, where=where, what="the drives were on")

    def powered_up(self, t: float, source: Source) -> None:
        """The drives come on: is a hand still inside?"""
        if self.hand is not None:
            self._find(
                "hand-in-reach", t, source, where=self.hand, what="the drives were switched on"
            )

    def setter_moved(self, setter: str, moved_mm: float, cause: str, why: str, t: float) -> None:
        """A setter is no longer where it was."""
        known = self.tables.records.get(setter)
        if known is not None and (known.x_mm is not None or known.reference_valid):
            self._find(
                "setter-moved", t, self.source_now(),
                setter=setter, moved_mm=moved_mm, cause=cause, why=why,
            )  # fmt: skip

    def close(self, t: float) -> None:
        """The run is over: judge the numbers that were stored."""
        self._count_as_stopped()
        self._forget_mended()
        for entry in self.tip_errors(t):
            self.numbers[entry.name] = entry
        for entry in list(self.numbers.values()):
            if abs(entry.error) > entry.tolerance:
                self._find(
                    "wrong-number", entry.time_s, entry.source or self.source_now(),
                    name=entry.name[0].upper() + entry.name[1:],
                    belief_mm=entry.belief, truth_mm=entry.truth,
                    error_um=entry.error * 1e3, tolerance_um=entry.tolerance * 1e3,
                    why=self._why_wrong(entry),
                )  # fmt: skip
        self._count_as_held_back()

    def _count_as_held_back(self) -> None:
        """What was false, and then came up in a check whose alarm still stands: nothing used it."""
        alarm = self.controller.alarm_now
        if alarm is None or alarm.code not in _OF_A_CHECK:
            return
        for index, finding in enumerate(self.findings):
            if finding.severity == "wrong" or finding.code == "stale-reference":
                why = f"{finding.why} A check stopped it before anything was cut with it."
                self.findings[index] = replace(finding, severity="stopped", why=why)

    def _count_as_stopped(self) -> None:
        """A signal that lied, and an alarm that came before any number: it was stopped in time."""
        for index, finding in enumerate(self.findings):
            if finding.code not in _CAUGHT_BY_ALARM or finding.severity != "risky":
                continue
            alarm = min((t for t, _ in self.alarms if t >= finding.time_s), default=None)
            if alarm is None or any(
                finding.time_s <= entry.time_s <= alarm for entry in self.numbers.values()
            ):
                continue
            self.findings[index] = replace(finding, severity="stopped")

    def _forget_mended(self) -> None:
        """What made a row wrong is no finding once the row was put right."""
        good = {
            entry.name for entry in self.numbers.values() if abs(entry.error) <= entry.tolerance
        }
        self.findings = [
            finding
            for finding in self.findings
            if finding.code not in _OF_A_ROW or f"row {finding.figures['row']} length" not in good
        ]

    def _why_wrong(self, entry: Number) -> str:
        if entry.why:
            return entry.why
        codes = {finding.code for finding in self.findings}
        for code, why in _CAUSES:
            if code in codes:
                return why
        if self.kernel.noise.dirt_um:
            return f"{self.kernel.noise.dirt_um:.0f} um of dirt lay between tool and pad."
        if any(self.kernel.shift):
            return "The machine's zero is not where the controller thinks it is."
        return "What was touched, or what the number was computed from, is not what it seemed."

    def verdict(self) -> str:
        """Worst of the findings; an alarm makes ``stopped`` of an otherwise right run."""
        verdicts = [finding.severity for finding in self.findings]
        if self.alarms:
            verdicts.append("stopped")
        return worst(verdicts)


_OF_A_ROW = ("wear-counted-twice", "mixed-lengths")
_CAUGHT_BY_ALARM = ("false-trigger", "bounce")
# Alarms that say that a number was held against something else, or that a program says itself.
_OF_A_CHECK = ("out-of-limit", "not-agreeing", "program")
_CAUSES = (
    ("lug-strike", "A lug was touched instead of the face, and its height is in the number."),
    ("stale-reference", "It was computed from a reference that no longer holds."),
    ("false-trigger", "The controller latched where nothing was touched."),
    ("missed-edge", "Something other than a cutting edge was touched."),
    ("mixed-lengths", "Lengths of two conventions were mixed."),
    ("wear-counted-twice", "Old wear was added to a length that already contains it."),
    ("lost-steps", "The axis had lost steps before."),
    ("setter-moved", "The setter was no longer where it had been referenced."),
    ("leftover-shift", "A shift was still active."),
    ("crash", "Something was met that should not have been, or far too fast."),
    ("tool-overloaded", "The tool was pressed harder than it bears."),
    ("squeezed-block", "The block was squeezed, and the machine bent, while it was felt."),
)
