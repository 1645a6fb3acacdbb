"""What a run came to: one object that prints, compares and saves."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.truth.finding import Finding
from drytouch.sim.truth.number import Number

if TYPE_CHECKING:
    from drytouch.sim.recording import Recorder


@dataclass(slots=True)
class Outcome:
    """Verdict, findings, numbers; ``result`` is what the routine returned."""

    scenario: str
    seed: int
    verdict: str
    findings: list[Finding]
    numbers: dict[str, Number]
    alarms: list[tuple[float, ControllerAlarm]]
    time_s: float
    version: str
    result: Any = None
    error: str = ""
    recorder: Recorder | None = field(default=None, repr=False)

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of all findings, sorted, each once."""
        return tuple(sorted({finding.code for finding in self.findings}))

    def to_dict(self) -> dict[str, Any]:
        """The outcome as one JSON object."""
        return {
            "format": "drytouch outcome",
            "format_version": 1,
            "scenario": self.scenario,
            "seed": self.seed,
            "verdict": self.verdict,
            "findings": [finding.to_dict() for finding in self.findings],
            "numbers": [number.to_dict() for number in self.numbers.values()],
            "alarms": [
                {"time_s": t, "code": alarm.code, "message": alarm.message}
                for t, alarm in self.alarms
            ],
            "error": self.error,
            "time_s": self.time_s,
            "version": self.version,
        }
