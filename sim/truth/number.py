"""One stored number: what is believed, what is so, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drytouch.sim.recording import Source


@dataclass(slots=True)
class Number:
    """One stored number, mm; ``source`` is who stored it, where that is known."""

    name: str
    belief: float
    truth: float
    tolerance: float
    time_s: float
    why: str = ""
    source: Source | None = None

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
