"""What a scenario promises against what a run showed."""

from __future__ import annotations

from typing import Any, NamedTuple

from drytouch.sim.scenario.scenario import Expect, Scenario
from drytouch.sim.twin.outcome import Outcome


class Comparison(NamedTuple):
    """Promise and run side by side; ``missing`` and ``unexpected`` are codes of findings."""

    expected: str
    seen: str
    missing: tuple[str, ...]
    unexpected: tuple[str, ...]

    @property
    def as_expected(self) -> bool:
        """Whether verdict and findings are what was promised."""
        return self.expected == self.seen and not self.missing and not self.unexpected

    def sentence(self) -> str:
        """What differs, for a person; empty when nothing does."""
        parts = []
        if self.expected != self.seen:
            parts.append(f"expected the verdict '{self.expected}', saw '{self.seen}'")
        if self.missing:
            parts.append(f"missing: {', '.join(self.missing)}")
        if self.unexpected:
            parts.append(f"not expected: {', '.join(self.unexpected)}")
        return "; ".join(parts)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a report."""
        return {
            "as_expected": self.as_expected,
            "expected_verdict": self.expected,
            "seen_verdict": self.seen,
            "missing_findings": list(self.missing),
            "unexpected_findings": list(self.unexpected),
        }


def compare(scenario: Scenario, outcome: Outcome) -> Comparison:
    """Compare a run with its scenario's ``expect``; without one, ``right`` is expected.

    Findings count where the scenario is a demonstration or lists them: a scenario that names only
    a verdict leaves open how it comes about.
    """
    expect = scenario.expect or Expect()
    counted = scenario.kind == "demonstration" or "findings" in expect.model_fields_set
    seen, wanted = set(outcome.codes), set(expect.findings)
    return Comparison(
        expect.verdict,
        outcome.verdict,
        tuple(sorted(wanted - seen)) if counted else (),
        tuple(sorted(seen - wanted - set(expect.also_allowed))) if counted else (),
    )
