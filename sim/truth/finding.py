"""A finding: something that went wrong or nearly did, with its figures and three sentences."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from drytouch.sim.recording import Source
from drytouch.sim.truth.catalogue import CATALOGUE

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. ``figures`` carry their units in their names; ``place`` is the face's centre."""

    code: str
    severity: str
    time_s: float
    place_mm: Vector
    source: Source
    figures: dict[str, Any] = field(default_factory=dict)
    what: str = ""
    why: str = ""
    avoid: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Plain data for outcome and recording."""
        return {
            "code": self.code,
            "severity": self.severity,
            "time_s": self.time_s,
            "place_mm": list(self.place_mm),
            "step": self.source.step,
            "call": self.source.call,
            "file": self.source.file,
            "line": self.source.program_line,
            "figures": {k: v for k, v in self.figures.items() if k != "why"},
            "what": self.what,
            "why": self.why,
            "avoid": self.avoid,
        }


def make(
    code: str,
    time_s: float,
    place_mm: Vector,
    source: Source,
    severity: str | None = None,
    avoid: str = "",
    **figures: Any,
) -> Finding:
    """A finding of the catalogue with these figures.

    ``severity`` and ``avoid`` stand in for its usual ones where the case asks for others.
    """
    entry = CATALOGUE[code]
    return Finding(
        code,
        severity or entry.verdict,
        time_s,
        place_mm,
        source,
        figures,
        _sentence(entry.what.format(**figures)),
        _sentence(entry.why.format(**figures)),
        avoid or entry.avoid,
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
