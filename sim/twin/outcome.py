"""What a run came to: one object that prints, compares and saves."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.recording.recorder import Recorder, Source
from drytouch.sim.truth.finding import Finding
from drytouch.sim.truth.number import Number


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
    alarm_sources: list[Source] = field(default_factory=list)

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of all findings, sorted, each once."""
        return tuple(sorted({finding.code for finding in self.findings}))

    def _sources(self) -> list[Source]:
        """Who was at work at each alarm; an outcome that was put together by hand knows nobody."""
        return self.alarm_sources or [Source() for _ in self.alarms]

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
                {
                    "time_s": t,
                    "code": alarm.code,
                    "message": alarm.message,
                    "step": source.step,
                    "call": source.call,
                    "file": source.file,
                    "line": source.program_line,
                }
                for (t, alarm), source in zip(self.alarms, self._sources(), strict=True)
            ],
            "error": self.error,
            "time_s": self.time_s,
            "version": self.version,
        }
